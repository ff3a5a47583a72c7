"""Two takes of each shot as a page: both pictures in step, and both curves in one."""

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from markupsafe import Markup

from ...solver.arrays import FloatArray
from .compare import SAME, Difference, Side
from .shell import page
from .shown import Shown, shown_of
from .viewfinder import MOST_PLAYED, packed, poster_data
from .words import figure, measure_words

_MOST_SHOTS = 200  # that are played side by side, changed ones first


@dataclass(frozen=True, kw_only=True, slots=True)
class TwoTakes:
    """Two takes of one shot.

    Attributes:
        shot: its name.
        before: the one that is compared with.
        after: the other one; the same object where the camera did not change.
        words: what is different, a line each.
    """

    shot: str
    before: Shown
    after: Shown
    words: tuple[str, ...]

    @property
    def changed(self) -> bool:
        """Whether there are two takes."""
        return self.before is not self.after


def compare_page(
    differences: Sequence[Difference], *, before: Side, after: Side
) -> str:
    """Return the page of what changed between two solves.

    Args:
        differences: of all shots.
        before: the earlier solve.
        after: the later solve.
    """
    changed = [one for one in differences if one.kind != SAME]
    same = [one.shot for one in differences if one.kind == SAME]
    moved = [one.shot for one in changed if _moved(one)]
    others = [one.shot for one in differences if not _moved(one)]
    # Of a very long sequence the shots that changed go before the others.
    wanted = {*[*moved, *others][:_MOST_SHOTS]}
    named = [one for one in differences if one.shot in wanted]
    return two_takes_page(
        "Two solves compared",
        list(_two_takes(named, before, after)) if moved else [],
        names=("Before", "After"),
        labels=(before.label, after.label),
        told=f"{_counted(len(changed))} changed, {len(same)} did not.",
        same=same,
        lines=[
            {
                "one": one,
                "lens": figure(one.camera_m, ".2f", " m"),
                "pan": figure(one.pan_deg, ".1f", "\u00b0"),
                "tilt": figure(one.tilt_deg, ".1f", "\u00b0"),
                "measures": _measures(one),
            }
            for one in sorted(changed, key=lambda one: -sum(f.rank for f in one.new))
        ],
    )


def two_takes_page(
    heading: str,
    takes: Sequence[TwoTakes],
    *,
    names: tuple[str, str],
    labels: tuple[str, str],
    told: str,
    same: Sequence[str] = (),
    lines: Sequence[Mapping[str, Any]] = (),
) -> str:
    """Return a page that plays two takes of each shot in step.

    Args:
        heading: of the page.
        takes: in the order of the cut.
        names: what the first and the second take of a shot are called.
        labels: where they come from.
        told: what is compared, a sentence.
        same: names of shots that did not change.
        lines: of the table of what changed.
    """
    bodies = [body.name for one in takes for body in one.after.bodies]
    people = list(dict.fromkeys(bodies))
    return page(
        "compare.html",
        heading=heading,
        names=names,
        before=labels[0],
        after=labels[1],
        told=told,
        shots=[{"name": one.shot, "changed": one.changed} for one in takes],
        seen=[one.shot for one in takes],
        pictures=Markup(f"[{','.join(_data(one, people) for one in takes)}]"),
        lines=lines,
        same=same,
    )


def _counted(count: int) -> str:
    return f"{count} shot{'' if count == 1 else 's'}"


def _moved(one: Difference) -> bool:
    return any((one.camera_m, one.pan_deg, one.tilt_deg))


def _measures(one: Difference) -> list[str]:
    return [measure_words(name, *pair) for name, pair in one.measures.items()]


def _two_takes(
    differences: Sequence[Difference], before: Side, after: Side
) -> Iterator[TwoTakes]:
    """Yield the shots of which both takes are there and can be played."""
    keys = [
        {row.shot: row.plain["take_key"] for row in side.rows if not row.failed}
        for side in (before, after)
    ]
    for one in differences:
        if any(one.shot not in known for known in keys):
            continue
        second = _shown(after, one.shot, keys[1])
        first = _shown(before, one.shot, keys[0]) if _moved(one) else second
        if first is not None and second is not None:
            yield TwoTakes(
                shot=one.shot, before=first, after=second, words=tuple(_words(one))
            )


def _shown(side: Side, shot: str, keys: Mapping[str, str]) -> Shown | None:
    table = side.store.whole(shot, keys[shot])
    shown = None if table is None else shown_of(table)
    return None if shown is None or len(shown.frames) > MOST_PLAYED else shown


def _words(one: Difference) -> Iterator[str]:
    """Yield what is different between both takes of a shot, a line each."""
    if one.kind == SAME:
        yield "Nothing: the take is the same."
        return
    yield from (f"Setup: {words}." for words in one.setup)
    if _moved(one):
        yield (
            f"The lens is up to {figure(one.camera_m, '.2f')} m from where it was, the "
            f"pan up to {figure(one.pan_deg, '.1f')} degrees, the tilt up to "
            f"{figure(one.tilt_deg, '.1f')} degrees."
        )
    yield from (f"New {f.severity}: {f.text}" for f in one.new)
    yield from (f"Gone: {f.title} ({f.severity})." for f in one.gone)


def _data(one: TwoTakes, people: Sequence[str]) -> str:
    """Return the data of one shot as JSON."""
    both = (one.before, one.after) if one.changed else (one.after,)
    ends = [(int(shown.frames[0]), int(shown.frames[-1])) for shown in both]
    said = {
        "name": one.shot,
        "changed": one.changed,
        "first": min(first for first, _ in ends),
        "last": max(last for _, last in ends),
        "words": one.words,
        "curves": [
            [title, *(packed(values, 32) for values in curves)]
            for title, curves in _curves(both)
        ],
    }
    takes = [poster_data(each, range(len(each.frames)), people) for each in both]
    pictures = ",".join(takes if one.changed else ["null", *takes])
    words = json.dumps(said, separators=(",", ":")).replace("<", "\\u003c")
    return f'{words[:-1]},"takes":[{pictures}]}}'


def _curves(both: Sequence[Shown]) -> Iterator[tuple[str, list[FloatArray]]]:
    """Yield the curves that are laid over each other: title, values of each take."""
    zero_deg = np.degrees(both[0].pan_rad[0])
    yield "Pan, deg from the first frame", [_pan_deg(one, zero_deg) for one in both]
    yield "Tilt, deg", [np.degrees(one.tilt_rad) for one in both]
    yield "Pan speed, deg/s", [one.column("pan_speed") for one in both]
    yield "Place across the frame, half frames", [one.place[:, 0] for one in both]
    yield "Place up the frame, half frames", [one.place[:, 1] for one in both]
    size = [100 * one.column("subject_size") for one in both]
    yield "Size, % of the frame height", size
    if any(len(one.rail) > 1 for one in both):
        yield "Dolly speed, m/s", [one.column("rail_speed") for one in both]


def _pan_deg(shown: Shown, zero_deg: float) -> FloatArray:
    """Return the pan from a direction, which it starts within half a turn of [deg]."""
    pan_deg = np.degrees(shown.pan_rad)
    start = (pan_deg[0] - zero_deg + 180.0) % 360.0 - 180.0
    turned: FloatArray = pan_deg - pan_deg[0] + start
    return turned
