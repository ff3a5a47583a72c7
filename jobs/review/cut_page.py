"""The page that plays a sequence: its shots in order, through their solved lenses."""

import json
from collections.abc import Mapping, Sequence
from fractions import Fraction
from itertools import groupby
from typing import Any, NamedTuple

from markupsafe import Markup

from ..job.rate import nominal_rate
from ..job.timecode import (
    drop_frame_label_of_frame,
    frame_of_label,
    is_drop_frame,
    label_of_frame,
)
from ..takes.action_words import action_words, join_words
from ..takes.actions import CoveredAction
from ..takes.sequence_table import CutClock
from .rows import SequenceRow
from .shell import page, page_name
from .shot_page import IndexedTake, shades
from .strip import picture_words, strip
from .viewfinder import MOST_PLAYED
from .words import lens_words, rig_words

DATA = "data"
"""Folder of the shots' data, beside the pages."""

_RATE = Fraction(24)  # of a sequence without any take
_NO_CLOCK = "00:00:00:00"
_DROPPED = 15  # a rate of 30 leaves out two labels a minute, one of 60 four


def cut_page(
    rows: Sequence[SequenceRow],
    kept: Mapping[str, IndexedTake],
    *,
    clock: CutClock,
    people: Sequence[str],
    actions: Sequence[CoveredAction] = (),
) -> str:
    """Return the page that plays the cut, of actions the pictures of theirs.

    Args:
        rows: of the shots, in the order of the job; at least one.
        kept: of each shot that has a take, by name.
        clock: how frames are counted.
        people: names of all subjects.
        actions: what came of those of the job.
    """
    rate = next((Fraction(one.rate) for one in kept.values()), _RATE)
    labels = _labels(clock, rate)
    cut = _played(rows, actions)
    shots = [_shot(one, kept.get(one.row.shot), clock) for one in cut]
    start, listed = 0, []
    for n, shot in enumerate(shots):
        seconds = shot["count"] / float(rate)
        words = {"n": n, "seconds": f"{seconds:.1f} s", "mark": cut[n].row.state}
        listed.append({**shot, **words, "timecode": _label(rate, labels, start)})
        start += shot["count"]
    findings = [
        {
            "shot": n,
            "frame": frame,
            "severity": one.severity,
            "title": one.title,
            "text": one.text,
        }
        for n, played in enumerate(cut)
        if played.row.shot in kept
        for one, frame in zip(
            played.row.findings, kept[played.row.shot].moments, strict=True
        )
        if not one.accepted and played.has(frame)
    ]
    data = {
        "rate": [rate.numerator, rate.denominator],
        "clock": labels,
        "shots": shots,
        "findings": findings,
        "actions": [_cameras(action, shots) for action in actions],
    }
    numbers = {name: k for k, name in enumerate(people)}
    aspects = [kept[row.shot].aspect for row in rows if row.shot in kept]
    return page(
        "cut.html",
        sequence=rows[0].plain["sequence"],
        first=shots[0],
        scenes=[
            (scene, list(some))
            for scene, some in groupby(listed, key=lambda shot: shot["scene"])
        ],
        people=shades(people, people),
        n_findings=len(findings),
        actions=[
            {
                "name": action.action,
                "strip": Markup(strip(action, numbers)),
                "pictures": picture_words(action),
                "status": action.status,
                "words": action_words(action),
                "given": action.given,
                "helps": action.helps,
                "runs": action.runs,
                "joins": join_words(action),
            }
            for action in actions
        ],
        high=f"{1000 / (aspects[0] if aspects else 16 / 9):.1f}",
        data=json.dumps(data, separators=(",", ":")).replace("<", "\\u003c"),
    )


class Played(NamedTuple):
    """What the page plays next: a shot, or a picture of the cut of an action.

    Attributes:
        row: of the shot, or of the camera.
        frames: of the picture, both inside; None for a whole shot.
        action: index of its action; -1 for a shot of none.
    """

    row: SequenceRow
    frames: tuple[int, int] | None = None
    action: int = -1

    def has(self, frame: int) -> bool:
        """Tell whether a frame is played."""
        return self.frames is None or self.frames[0] <= frame <= self.frames[1]


def _played(
    rows: Sequence[SequenceRow], actions: Sequence[CoveredAction]
) -> list[Played]:
    """Return what is played: pictures where an action is cut, else whole takes."""
    by_shot = {row.shot: row for row in rows}
    of = {shot: k for k, one in enumerate(actions) for shot in one.cameras.values()}
    found, done = [], set()
    for row in rows:
        k = of.get(row.shot, -1)
        if k < 0 or not actions[k].pictures:
            found.append(Played(row, None, k))
        elif k not in done:
            done.add(k)
            found += [
                Played(by_shot[one.shot], one.frames, k)
                for one in actions[k].pictures
                if one.shot in by_shot
            ]
    return found


def _cameras(
    action: CoveredAction, shots: Sequence[Mapping[str, Any]]
) -> dict[str, Any]:
    """Return the cameras of an action that can be shown beside one another."""
    files = {shot["name"]: shot["file"] for shot in shots}
    return {
        "first": action.frames[0],
        "cameras": [
            {"camera": camera, "name": shot, "file": files.get(shot, _file(shot))}
            for camera, shot in action.cameras.items()
        ],
    }


def _file(shot: str) -> str:
    return f"{DATA}/{shot}.js"


def _shot(
    played_now: Played, kept: IndexedTake | None, clock: CutClock
) -> dict[str, Any]:
    row = played_now.row
    start, end = (0, 0) if kept is None else kept.frames
    start, end = clock.frames.get(row.shot, (start, end))
    played = kept is not None and end - start < MOST_PLAYED
    first, last = played_now.frames or (start, end)
    why = "it has no take" if kept is None else "its take is too long to be played"
    return {
        "name": row.shot,
        "scene": row.scene,
        "first": first,
        "from": first - start,
        "count": last - first + 1,
        "action": played_now.action,
        "file": _file(row.shot) if played else "",
        "why": "" if played else why,
        "page": page_name(row.shot),
        "lens": lens_words(row.setup),
        "size": "\u2013" if kept is None else kept.size,
        "rig": rig_words(row.setup),
        "state": row.word,
        "purpose": row.plain.get("purpose") or "",
    }


def _labels(clock: CutClock, rate: Fraction) -> dict[str, int] | None:
    """Return the first label as a count of frames, and how labels are counted.

    None where the rate has no timecode; the cut is then counted in seconds.
    """
    label = clock.timecode or _NO_CLOCK
    try:
        start = frame_of_label(label, rate)
    except ValueError:
        return None
    nominal = nominal_rate(rate)
    dropped = nominal // _DROPPED if is_drop_frame(label) else 0
    return {"start": start, "nominal": nominal, "dropped": dropped}


def _label(rate: Fraction, labels: Mapping[str, int] | None, frame: int) -> str:
    """Return how a frame of the cut is called, counted from 0."""
    if labels is None:
        return f"{frame / float(rate):.2f} s"
    named = drop_frame_label_of_frame if labels["dropped"] else label_of_frame
    return named(labels["start"] + frame, rate)
