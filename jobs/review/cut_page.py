"""The page that plays a sequence: its shots in order, through their solved lenses."""

import json
from collections.abc import Mapping, Sequence
from fractions import Fraction
from itertools import groupby
from typing import Any

from ..job.rate import nominal_rate
from ..job.timecode import (
    drop_frame_label_of_frame,
    frame_of_label,
    is_drop_frame,
    label_of_frame,
)
from ..takes.sequence_table import CutClock
from .rows import SequenceRow
from .shell import page, page_name
from .shot_page import IndexedTake, shades
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
) -> str:
    """Return the page that plays the cut.

    Args:
        rows: of the shots, in the order of the job; at least one.
        kept: of each shot that has a take, by name.
        clock: how frames are counted.
        people: names of all subjects.
    """
    rate = next((Fraction(one.rate) for one in kept.values()), _RATE)
    labels = _labels(clock, rate)
    shots = [_shot(row, kept.get(row.shot), clock) for row in rows]
    start, listed = 0, []
    for n, shot in enumerate(shots):
        seconds = shot["count"] / float(rate)
        words = {"n": n, "seconds": f"{seconds:.1f} s", "mark": rows[n].state}
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
        for n, row in enumerate(rows)
        if row.shot in kept
        for one, frame in zip(row.findings, kept[row.shot].moments, strict=True)
        if not one.accepted
    ]
    data = {
        "rate": [rate.numerator, rate.denominator],
        "clock": labels,
        "shots": shots,
        "findings": findings,
    }
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
        high=f"{1000 / (aspects[0] if aspects else 16 / 9):.1f}",
        data=json.dumps(data, separators=(",", ":")).replace("<", "\\u003c"),
    )


def _shot(
    row: SequenceRow, kept: IndexedTake | None, clock: CutClock
) -> dict[str, Any]:
    first, last = (0, 0) if kept is None else kept.frames
    first, last = clock.frames.get(row.shot, (first, last))
    played = kept is not None and last - first < MOST_PLAYED
    why = "it has no take" if kept is None else "its take is too long to be played"
    return {
        "name": row.shot,
        "scene": row.scene,
        "first": first,
        "count": last - first + 1,
        "file": f"{DATA}/{row.shot}.js" if played else "",
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
