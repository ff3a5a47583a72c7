"""The frame with the trace of the followed point through it."""

from functools import lru_cache

import numpy as np

from ...solver.arrays import FloatArray
from ...solver.crew.operator import SAFE
from .labels import Labels
from .plan_view import numbers_by_place
from .shown import Shown
from .svg import (
    Box,
    Point,
    Scale,
    broken,
    element,
    group,
    line,
    numbers,
    path,
    stroke,
    strokes,
    text,
)
from .thinned import shown_of_trace

_TICK_PX = 6.0
_CORNER_PX = 10.0
_SAME_PX = 14.0  # closer marks share a number, which would cover the next
_MOST_KEPT = 60  # points of the trace that numbers are kept off
_FAR = 4.0  # half frames; what is farther out is not drawn


def frame_view(shown: Shown, box: Box, *, ticks: bool = True) -> str:
    """Return the frame and the subject's trace in it.

    Args:
        shown: the take.
        box: of the frame itself, its height by the frame's aspect.
        ticks: mark the thirds, the action-safe area and the pan's decisions.
    """
    box = Box(
        left=box.left, top=box.top, width=box.width, height=box.width / shown.aspect
    )
    across = Scale(low=-1, high=1, start=box.left, end=box.right)
    up = Scale(low=-1, high=1, start=box.bottom, end=box.top)
    inside = np.where(np.abs(shown.place) <= _FAR, shown.place, np.nan)
    trace = _on_page(np.where(shown.anew[:, None], np.nan, inside), across, up)
    places = [(x, y) for x, y in _on_page(inside, across, up).tolist()]
    seen = [k for k in shown.marks if np.isfinite(places[k]).all()]
    in_sight = [k for k in seen if (np.abs(shown.place[k]) <= 1.3).all()]
    numbered = numbers_by_place(in_sight, places, numbers=shown.marks, same_px=_SAME_PX)
    asked = sorted({(across(u), up(v)) for u, v in shown.asked[list(shown.marks)]})
    labels = Labels(_around(box))
    labels.keep_clear(np.array([places[k] for k in in_sight]).reshape(-1, 2), 5.0)
    labels.keep_clear(np.array(asked).reshape(-1, 2), 8.5)
    labels.keep_clear(trace[:: max(1, len(trace) // _MOST_KEPT)], 1.0)
    if ticks:
        foot = [box.left + 12 * k for k in range(1, 11)]
        labels.keep_clear(np.array([(x, box.bottom - 12) for x in foot]), 7.0)
    return group(
        _guides(box) if ticks else "",
        element(
            "rect",
            class_="edge",
            x=box.left,
            y=box.top,
            width=box.width,
            height=box.height,
        ),
        path(trace[shown_of_trace(len(trace))], class_="subject"),
        *([stroke(_decisions(shown, trace), class_="decision")] if ticks else ()),
        *(cross(x, y) for x, y in asked),
        *(
            element("circle", class_="mark", cx=places[k][0], cy=places[k][1], r=4.5)
            for k in in_sight
        ),
        *(
            text(
                words,
                labels.place(
                    words, of=places[k], wanted=(places[k][0], places[k][1] - 10)
                ),
                class_="number",
            )
            for k, words in numbered
        ),
        id="frame",
    )


def _around(box: Box) -> Box:
    """Return the frame with the room round it that marks out of the frame have."""
    spare = 0.2 * box.height
    return Box(
        left=box.left - spare,
        top=box.top - spare,
        width=box.width + 2 * spare,
        height=box.height + 2 * spare,
    )


def cross(x: float, y: float) -> str:
    """Return the mark of a place that was asked for."""
    left, right, top, bottom, middle, level = numbers(
        np.array([x - 8, x + 8, y - 8, y + 8, x, y])
    )
    arms = f"M{left} {level}L{right} {level}M{middle} {top}L{middle} {bottom}"
    return stroke(arms, class_="asked")


def _on_page(points: FloatArray, across: Scale, up: Scale) -> FloatArray:
    return np.column_stack([across.all(points[:, 0]), up.all(points[:, 1])])


def _decisions(shown: Shown, trace: FloatArray) -> str:
    """Return the steps of a tick across the trace at each of the pan's decisions."""
    seen = np.isfinite(trace).all(axis=1)
    rows = np.flatnonzero(shown.flags("decided_pan") & seen)
    ahead = trace[np.minimum(rows + 1, len(trace) - 1)]
    way = ahead - trace[np.maximum(rows - 1, 0)]
    length = np.hypot(*way.T)
    way = np.where((length > 0.3)[:, None], way, [1.0, 0.0])
    half = 0.6 * _TICK_PX * np.column_stack([-way[:, 1], way[:, 0]])
    half /= np.hypot(*way.T)[:, None]
    return strokes(trace[rows] - half, trace[rows] + half)


@lru_cache(maxsize=16)
def _guides(box: Box) -> str:
    """Return ticks at the thirds, and corners of the action-safe area, with labels."""
    across = Scale(low=-1, high=1, start=box.left, end=box.right)
    up = Scale(low=-1, high=1, start=box.bottom, end=box.top)
    drawn = []
    for third in (-1 / 3, 1 / 3):
        for v, out in ((1.0, -1.0), (-1.0, 1.0)):
            drawn.append(_tick((across(third), up(v)), (0.0, out)))
        for u, out in ((-1.0, -1.0), (1.0, 1.0)):
            drawn.append(_tick((across(u), up(third)), (out, 0.0)))
    for u, words in ((-1 / 3, "\u2153"), (1 / 3, "\u2154")):
        drawn.append(text(words, (across(u), box.top - 9), class_="label middle"))
    corners = []
    for u in (-SAFE, SAFE):
        for v in (-SAFE, SAFE):
            x, y = across(u), up(v)
            along, down = np.copysign(_CORNER_PX, [-u, v])
            corners.append(np.array([(x + along, y), (x, y), (x, y + down)]))
    drawn.append(path(broken(corners), class_="guide"))
    words = f"action safe {100 * SAFE:.0f} %"
    place = (across(-SAFE) + 5, up(-SAFE) - 5)
    return "".join([*drawn, text(words, place, class_="label")])


def _tick(place: Point, out: tuple[float, float]) -> str:
    x, y = place
    return line((x, y), (x + _TICK_PX * out[0], y + _TICK_PX * out[1]), class_="guide")
