"""The shot from above, to scale: rail, camera with its view, and subjects' paths."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import copysign, degrees, dist, hypot, tan

import numpy as np

from ...solver.arrays import FloatArray
from ..takes.bodies import Body
from .labels import LETTER_PX, Labels
from .shown import Shown
from .stage import PlanStage, stage_of
from .svg import (
    Box,
    Point,
    element,
    group,
    line,
    path,
    round_step,
    rows_of_numbers,
    steps_through,
    stroke,
    strokes,
    text,
)
from .thinned import shown_of_trace

GAUGE_M = 0.62  # between the rails of dolly track; common practice, no source
_SLEEPER_M = 0.5
_SYMBOL_PX = 17.0  # height of the camera's triangle
_MARGIN_PX = 16.0  # for the numbers beside the outermost marks
_BAR_PX = 60.0  # least length of the scale bar
_APART_PX = 14.0  # from a mark to its number
_SAME_PX = 9.0  # marks closer than this are in one place
_LEAST_DEPTH = 0.3  # of a subject's distance, for one that is hardly ahead
_LEAST_M = 1.0  # a shot in which nothing moves is not magnified beyond this
_BAR_ROOM_PX = 28.0  # at the foot of the plan, for the scale bar and its words
_LEAST_SEEN_PX = 4.0  # of a keep-out, for it to be named
_MARK_PX = 5.5  # half of a subject's mark with its edge
_MOST_KEPT = 60  # points of a way that labels are kept off
_HATCH_PX = 6.0
_DOWN = np.array([1.0, -1.0])  # Y of the page runs down
_MOST_FLOOR = 1.6  # the floor is shown whole unless the action gets smaller than this


@dataclass(frozen=True, kw_only=True, slots=True)
class Ground:
    """A scale from the ground to the page: `pixels` a metre, `origin` [px]."""

    pixels: float
    origin: Point

    def __call__(self, points_m: FloatArray) -> FloatArray:
        """Return places on the page (..., 2) [px] of points (..., 2 or 3) [m]."""
        places: FloatArray = self.origin + self.pixels * (points_m[..., :2] * _DOWN)
        return places

    def points(self, points_m: FloatArray) -> list[Point]:
        """Return places on the page of points (n, 2 or 3) [m], one by one."""
        return [(x, y) for x, y in self(points_m).tolist()]


def plan_view(shown: Shown, box: Box) -> str:
    """Return the plan of a take.

    The group carries `data-pixels-per-metre`, and in `data-origin` the place of the
    origin of the scene [px].
    """
    views, stage = _views(shown), stage_of(shown.metadata)
    ground = _fit(shown, box, views, stage)
    camera, subject = ground.points(shown.camera), ground.points(shown.floor)
    rows = shown.marks
    # On sticks the camera is in one place at all moments, and needs no numbers.
    moves = len(shown.rail) > 1
    dollies = rows if moves else rows[:1]
    labels = _labels(shown, ground, box)
    beside_rail = _APART_PX
    if moves:
        beside_rail += ground.pixels * GAUGE_M / 2
    return group(
        element(
            "svg",
            "".join([*_stage(stage, ground, box)]),
            x=box.left,
            y=box.top,
            width=box.width,
            height=box.height,
            viewBox=f"{box.left:g} {box.top:g} {box.width:g} {box.height:g}",
        ),
        *_rail(shown.rail, ground),
        *_edges(ground(views)),
        *_subjects(shown, ground),
        *(_camera(shown, row, camera[row]) for row in dollies),
        *(_subject(shown, row, subject[row]) for row in rows),
        *_numbers(labels, rows, subject, camera, _APART_PX),
        *(_numbers(labels, rows, camera, subject, beside_rail) if moves else ()),
        *_names(labels, stage, ground, box),
        _scale_bar(box, ground.pixels),
        id="plan",
        data_pixels_per_metre=f"{ground.pixels:.6f}",
        data_origin=f"{ground.origin[0]:.4f} {ground.origin[1]:.4f}",
    )


def _fit(shown: Shown, box: Box, views: FloatArray, stage: PlanStage) -> Ground:
    middle = [shown.rail, shown.camera[:, :2]]
    edge = [points + side for points in middle for side in (-GAUGE_M, GAUGE_M)]
    bodies = [body.floor[:, :2] for body in shown.bodies if _is_followed(shown, body)]
    points = np.concatenate([*edge, views.reshape(-1, 2), *bodies])
    low, high = points.min(axis=0), points.max(axis=0)
    floor = stage.floor
    if floor is not None:
        whole = np.concatenate([points, floor])
        wide_low, wide_high = whole.min(axis=0), whole.max(axis=0)
        if ((wide_high - wide_low) <= _MOST_FLOOR * (high - low)).all():
            low, high = wide_low, wide_high
    pixels = min(
        (box.width - 2 * _MARGIN_PX) / max(high[0] - low[0], _LEAST_M),
        (box.height - 2 * _MARGIN_PX) / max(high[1] - low[1], _LEAST_M),
    )
    centre = (low + high) / 2
    origin = (
        box.left + box.width / 2 - pixels * centre[0],
        box.top + box.height / 2 + pixels * centre[1],
    )
    return Ground(pixels=float(pixels), origin=(float(origin[0]), float(origin[1])))


def _is_followed(shown: Shown, body: Body) -> bool:
    return body.name in shown.followed


def _subjects(shown: Shown, ground: Ground) -> list[str]:
    """Return the paths of all subjects: followed ones whole, others dashed."""
    first = shown.followed[0]
    return [
        path(
            ground(body.floor[shown_of_trace(len(body.floor))]),
            class_="subject" if body.name == first else "subject other",
            data_subject=body.name,
        )
        for body in shown.bodies
        if _is_followed(shown, body)
    ]


def _stage(stage: PlanStage, ground: Ground, box: Box) -> list[str]:
    """Return the floor's outline, the set, and the keep-outs, hatched and named."""
    drawn = []
    rings = () if stage.floor is None else (stage.floor, *stage.holes)
    for ring in rings:
        whole = np.concatenate([ring, ring[:1]])
        drawn.append(path(ground(whole), class_="floor"))
    for lines, kind in ((stage.low, "low"), (stage.walls, "wall")):
        if len(lines):
            starts, ends = ground(lines[:, 0]), ground(lines[:, 1])
            drawn.append(stroke(strokes(starts, ends), class_=kind))
    for keep_out in stage.keep_outs:
        (left, low), (right, high) = ground.points(
            np.array([keep_out.low, keep_out.high])
        )
        if (
            max(left - box.right, box.left - right, box.top - low, high - box.bottom)
            > 0
        ):
            continue
        drawn += [
            stroke(_hatch(left, high, right, low), class_="hatch"),
            element(
                "rect",
                class_="keep_out",
                x=left,
                y=high,
                width=right - left,
                height=low - high,
            ),
        ]
    return drawn


def _names(labels: Labels, stage: PlanStage, ground: Ground, box: Box) -> Iterator[str]:
    """Yield the names of the keep-outs that are seen, where there is room for them."""
    for keep_out in stage.keep_outs:
        (left, low), (right, high) = ground.points(
            np.array([keep_out.low, keep_out.high])
        )
        seen = _seen((left, high), (right, low), box)
        if seen is None:
            continue
        half = LETTER_PX * len(keep_out.name) / 2
        middle = (seen[0] + seen[1]) / 2
        middle = min(max(middle, box.left + half), box.right - half)
        base = max(high - 4, box.top + 12)
        wanted = (middle, base)
        of = (middle, min(max((high + low) / 2, box.top), box.bottom))
        place = labels.place(keep_out.name, of=of, wanted=wanted)
        yield text(keep_out.name, place, class_="label middle")


def _labels(shown: Shown, ground: Ground, box: Box) -> Labels:
    """Return the room for labels beside marks, cameras, ways and the scale bar."""
    rows = list(shown.marks)
    labels = Labels(box)
    subject, camera = ground(shown.floor), ground(shown.camera)
    labels.keep_clear(subject[rows], _MARK_PX)
    ahead = np.column_stack([-np.sin(shown.pan_rad), np.cos(shown.pan_rad)])[rows]
    back = camera[rows] - _SYMBOL_PX / 2 * ahead * _DOWN
    labels.keep_clear(back, _SYMBOL_PX / 2)
    every = max(1, len(subject) // _MOST_KEPT)
    labels.keep_clear(subject[::every], 1.0)
    foot = np.array([[box.left + _BAR_PX * k / 4, box.bottom - 8] for k in range(9)])
    labels.keep_clear(foot, 10.0)
    return labels


def _seen(start: Point, end: Point, box: Box) -> tuple[float, float] | None:
    """Return from where to where across a rectangle is seen; None: not worth a name.

    What is seen of it only beside the scale bar keeps its name to itself.
    """
    left, right = max(start[0], box.left), min(end[0], box.right)
    high, low = max(start[1], box.top), min(end[1], box.bottom - _BAR_ROOM_PX)
    if right - left < _LEAST_SEEN_PX or low - high < _LEAST_SEEN_PX:
        return None
    return left, right


def _hatch(left: float, top: float, right: float, bottom: float) -> str:
    """Return the steps of slanted lines that fill a rectangle [px]."""
    most = 200  # lines; a keep-out as wide as the page is not hatched finer
    width, height = right - left, bottom - top
    gap = max(_HATCH_PX, (width + height) / most)
    shift = np.arange(gap / 2, width + height, gap)
    over, under = np.maximum(0.0, shift - width), np.maximum(0.0, shift - height)
    starts = np.column_stack([left + np.minimum(shift, width), top + over])
    ends = np.column_stack([left + under, top + np.minimum(shift, height)])
    return strokes(starts, ends)


def _rail(middle: FloatArray, ground: Ground) -> list[str]:
    """Return sleepers and both rails, nothing on sticks."""
    if len(middle) == 1:
        return []
    lengths = np.hypot(*np.diff(middle, axis=0).T)
    way = np.concatenate([[0.0], np.cumsum(lengths)])
    if way[-1] == 0:
        return []
    along = np.gradient(middle, way, axis=0)
    left = np.column_stack([-along[:, 1], along[:, 0]])
    left *= GAUGE_M / 2 / np.hypot(*left.T)[:, None]
    at = np.linspace(0.0, way[-1], max(2, round(way[-1] / _SLEEPER_M) + 1))
    near, far = (
        ground(
            np.column_stack([np.interp(at, way, (middle + side)[:, c]) for c in (0, 1)])
        )
        for side in (left, -left)
    )
    return [
        stroke(strokes(near, far), class_="sleeper"),
        path(ground(middle + left), class_="rail"),
        path(ground(middle - left), class_="rail"),
    ]


def _views(shown: Shown) -> FloatArray:
    """Return left edge, lens, right edge of each marked view, (k, 3, 2) [m].

    They end at the edges of the frame where the subject is.
    """
    rows = list(shown.marks)
    camera = shown.camera[rows, :2]
    off = shown.floor[rows, :2] - camera
    pan = shown.pan_rad[rows]
    away_m = np.hypot(*off.T)
    depth_m = off[:, 1] * np.cos(pan) - off[:, 0] * np.sin(pan)
    reach_m = np.maximum(depth_m, _LEAST_DEPTH * away_m) / np.cos(shown.half_view_rad)
    edges = pan[:, None] + shown.half_view_rad * np.array([1.0, -1.0])
    views = np.stack([camera, camera, camera], axis=1)
    views[:, ::2, 0] += reach_m[:, None] * -np.sin(edges)
    views[:, ::2, 1] += reach_m[:, None] * np.cos(edges)
    return views


def _edges(views: FloatArray) -> list[str]:
    """Return the edges of views (k, 3, 2) [px], closed where the subject is."""
    x, y = (rows_of_numbers(views[..., c]) for c in (0, 1))
    return [
        stroke(f"{steps_through(*view)}Z", class_="view")
        for view in zip(x, y, strict=True)
    ]


def _camera(shown: Shown, row: int, place: Point) -> str:
    """Return a triangle with the lens at its tip, as wide as the view."""
    half = min(max(_SYMBOL_PX * tan(shown.half_view_rad), 0.3 * _SYMBOL_PX), _SYMBOL_PX)
    turn = -degrees(float(shown.pan_rad[row]))
    return element(
        "path",
        class_="camera",
        d=f"M0 0L{-half:.2f} {-_SYMBOL_PX:.2f}L{half:.2f} {-_SYMBOL_PX:.2f}Z",
        transform=f"translate({place[0]:.2f} {place[1]:.2f}) rotate({turn:.2f})",
        data_frame=str(shown.frames[row]),
    )


def _subject(shown: Shown, row: int, place: Point) -> str:
    return element(
        "circle",
        class_="mark",
        cx=place[0],
        cy=place[1],
        r=4.5,
        data_frame=str(shown.frames[row]),
        data_subject=shown.followed[row],
    )


def numbers_by_place(
    rows: Sequence[int],
    places: Sequence[Point],
    *,
    numbers: Sequence[int] = (),
    same_px: float = _SAME_PX,
) -> list[tuple[int, str]]:
    """Return a row and the numbers of the marks there; marks in one place share it.

    Args:
        rows: of the marks that are drawn.
        places: of all rows [px].
        numbers: of all marks in order, which are numbered from 1; absent: `rows`.
        same_px: marks closer than this are in one place.
    """
    shared: dict[int, list[int]] = {}
    for row in rows:
        number = tuple(numbers or rows).index(row) + 1
        near = [first for first in shared if dist(places[first], places[row]) < same_px]
        shared.setdefault(near[0] if near else row, []).append(number)
    return [(row, _run_words(numbers)) for row, numbers in shared.items()]


def _run_words(numbers: Sequence[int]) -> str:
    """Return ascending numbers; three and more in a row by their ends."""
    first, last = numbers[0], numbers[-1]
    if len(numbers) > 2 and last - first == len(numbers) - 1:
        return f"{first}\u2013{last}"
    return ", ".join(map(str, numbers))


def _numbers(
    labels: Labels,
    rows: Sequence[int],
    places: list[Point],
    others: list[Point],
    apart_px: float,
) -> list[str]:
    """Return the numbers of the marks, beside the way and away from the others."""
    return [
        text(
            words,
            labels.place(
                words,
                of=places[row],
                wanted=_beside(row, places, others[row], apart_px),
            ),
            class_="number",
        )
        for row, words in numbers_by_place(rows, places)
    ]


def _beside(row: int, places: list[Point], other: Point, apart_px: float) -> Point:
    x, y = places[row]
    side = (x - other[0], y - other[1])
    for span in (9, len(places)):
        x0, y0 = places[max(0, row - span)]
        x1, y1 = places[min(len(places) - 1, row + span)]
        if hypot(x1 - x0, y1 - y0) > _SAME_PX:
            across = (y0 - y1, x1 - x0)
            sign = copysign(1.0, across[0] * side[0] + across[1] * side[1])
            side = (sign * across[0], sign * across[1])
            break
    share = apart_px / (hypot(*side) or 1.0)
    return (x + share * side[0], y + share * side[1] + 4.0)


def _scale_bar(box: Box, pixels: float) -> str:
    length_m = round_step(_BAR_PX / pixels)
    left, right = box.left, box.left + length_m * pixels
    low = box.bottom - 4
    return group(
        line((left, low), (right, low), class_="axis"),
        *(line((x, low - 4), (x, low + 4), class_="axis") for x in (left, right)),
        text(f"{length_m:g} m", ((left + right) / 2, low - 8), class_="label middle"),
        id="scale_bar",
        data_metres=f"{length_m:g}",
    )
