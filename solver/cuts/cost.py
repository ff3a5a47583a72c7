"""What a cut costs, for every pair of setups at once, in points of the shots' scores.

Costs are whole micro-points, so that sums are exact and ties are ties.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from math import sin
from typing import TypeVar

import numpy as np

from ..arrays import FloatArray, IntArray
from .end import CutEnd, EndView
from .lines import NEAR_AXIS_RAD, lines_of
from .rules import (
    LEAST_TURN_RAD,
    MOST_SIZE_STEPS,
    SAME_ELEVATION_RAD,
    SAME_HEIGHT_M,
    SAME_SIZE_STEPS,
    TWO_STEPS,
    are_reverses,
    eye_travel,
    size_steps,
    turn_rad,
)

MICRO = 1_000_000
"""Micro-points in a point."""

CODES = 5
"""Side codes: 1 left, 2 right, 3 and 4 the same near the axis; 0 is none."""


@dataclass(frozen=True, kw_only=True, slots=True)
class CutCosts:
    """Points that a cut costs; one point is about a taste between good setups.

    Attributes:
        crosses_line: the camera changes sides of the line of action.
        near_axis: it does so with one of the cameras within 10 degrees of the line.
        screen_direction: sides differ since the line itself turned round unseen.
        thirty_degrees: no turn at all at the same size, falling to 0 at 30 degrees;
            `one_step`, `two_steps`: share of it that stays when the size changes.
        same_picture: a turn under 30 degrees at the same size with the same lens.
        size_jump: each step of size beyond 4.
        eye_jump: each half frame width that the eye jumps, `most_eye_jump` at most.
        matched_reverse: taken off where reverses share lens and height.
        same_view: a cut to the same view of the same subject, from front, three
            quarters, the side or the rear.
        lens_run: the third shot in a row, and each after it, on one lens.
        lens_use: points for the use of a focal length, ((mm, points), ...);
            other_lenses: for one that is not among them.
        size_use, other_sizes: likewise for a size, where the shot leaves it open.
    """

    crosses_line: float = 8.0
    near_axis: float = 1.0
    screen_direction: float = 1.0
    thirty_degrees: float = 6.0
    one_step: float = 0.5
    two_steps: float = 0.15
    same_picture: float = 10.0
    size_jump: float = 1.0
    eye_jump: float = 2.0
    most_eye_jump: float = 4.0
    matched_reverse: float = 1.0
    same_view: float = 1.0
    lens_run: float = 0.0
    lens_use: tuple[tuple[float, float], ...] = ()
    other_lenses: float = 0.0
    size_use: tuple[tuple[str, float], ...] = ()
    other_sizes: float = 0.0


def with_habits(
    costs: CutCosts,
    variety: float,
    lens_use: Mapping[float, float],
    size_use: Mapping[str, float] | None = None,
) -> CutCosts:
    """Return the costs of cuts where a sequence has habits about lenses and sizes.

    With shares, each use of a focal length costs `variety` points less the part of
    them that its share has of the largest: the favourite is free, one that is not
    listed costs all. Without shares, `variety` is what the third shot in a row on one
    lens costs, if nothing else is asked for it. Sizes cost likewise where a shot leaves
    its size open, and nothing without shares.

    Args:
        costs: of a cut.
        variety: points, >= 0; 0 changes nothing.
        lens_use: share of each focal length [mm] that may be used; 0 or more.
        size_use: share of each size, by name; 0 or more.
    """
    if variety == 0.0:
        return costs
    if size_use and max(size_use.values()) > 0.0:
        sizes = _habit(variety, size_use)
        costs = replace(costs, size_use=sizes, other_sizes=variety)
    if max(lens_use.values(), default=0.0) == 0.0:
        return replace(costs, lens_run=costs.lens_run or variety)
    lenses = _habit(variety, lens_use)
    return replace(costs, lens_use=lenses, other_lenses=variety)


Used = TypeVar("Used", str, float)


def _habit(variety: float, use: Mapping[Used, float]) -> tuple[tuple[Used, float], ...]:
    """Return what each use costs by its share, the favourite nothing."""
    most = max(use.values())
    return tuple(sorted((name, variety * (1 - use[name] / most)) for name in use))


def micro(points: FloatArray | float) -> IntArray:
    """Return points as whole micro-points."""
    whole: IntArray = np.rint(np.asarray(points) * MICRO).astype(np.int64)
    return whole


def view_costs(out: Sequence[str], into: Sequence[str], costs: CutCosts) -> IntArray:
    """Return what cutting to the same view costs, (n, m) [micro-points].

    Args:
        out: view of each setup of the shot before, n names; "" is unlike any.
        into: of each setup of the shot after, m names.
        costs: of a cut.
    """
    before, after = np.array(out)[:, None], np.array(into)
    same: IntArray = ((before == after) & (before != "")).astype(np.int64)
    return same * int(micro(costs.same_view))


@lru_cache(maxsize=16)
def line_costs(costs: CutCosts, *, line_turned: bool) -> IntArray:
    """Return what changing sides costs, by side codes, (CODES, CODES) [micro-points].

    Args:
        costs: of a cut.
        line_turned: whether the line of action turned round in between.
    """
    table = np.zeros((CODES, CODES))
    for one in range(1, CODES):
        for two in range(1, CODES):
            if one % 2 != two % 2:
                near = one > 2 or two > 2
                table[one, two] = costs.near_axis if near else costs.crosses_line
                if line_turned:
                    table[one, two] = costs.screen_direction
    points = micro(table)
    points.flags.writeable = False
    return points


@dataclass(frozen=True, kw_only=True, slots=True)
class EndSights:
    """How pictures of somebody begin or end, an array a quantity, NaN where unknown.

    Attributes:
        toward: unit vector from the subject's eyes to the lens, (..., 3).
        u, v: screen place of its aim point, half frames.
        scale: frame heights that the whole stature would take.
        focal_mm: of the lens.
        height_m: of the lens; elevation_rad: over the eye line.
    """

    toward: FloatArray
    u: FloatArray
    v: FloatArray
    scale: FloatArray
    focal_mm: FloatArray
    height_m: FloatArray
    elevation_rad: FloatArray


@dataclass(frozen=True, kw_only=True, slots=True)
class EndTable(EndSights):
    """The ends of one shot's setups, (n,) a quantity.

    `sides` has the side codes of each line of action, by whose it is.
    """

    any_end: CutEnd
    sides: dict[str, IntArray]

    def as_column(self) -> EndSights:
        """Return the ends as a column, to be held against a row of others."""
        return EndSights(
            toward=self.toward[:, None],
            u=self.u[:, None],
            v=self.v[:, None],
            scale=self.scale[:, None],
            focal_mm=self.focal_mm[:, None],
            height_m=self.height_m[:, None],
            elevation_rad=self.elevation_rad[:, None],
        )


def end_table(acted: CutEnd, ends: Sequence[CutEnd | EndView]) -> EndTable:
    """Return the table of the ends of one shot's setups.

    Args:
        acted: one of them, which says what the action of all of them is.
        ends: at least one.
    """
    lens = np.array([end.lens for end in ends])
    seen = [(end.u, end.v, end.size, end.share, end.focal_mm) for end in ends]
    u, v, size, share, focal_mm = np.array(seen, dtype=np.float64).T.copy()
    away = lens - np.array(acted.eyes)
    far = np.sqrt((away**2).sum(axis=1, keepdims=True))
    return EndTable(
        any_end=acted,
        toward=away / np.maximum(far, 1e-9),
        u=u,
        v=v,
        scale=size / share,
        focal_mm=focal_mm,
        height_m=lens[:, 1],
        elevation_rad=np.arctan2(away[:, 1], np.hypot(away[:, 0], away[:, 2])),
        sides={
            of: side_codes(lens, np.array([line.x, line.z]), line.bearing_rad)
            for of, line in lines_of(acted).items()
        },
    )


def side_codes(
    lens: FloatArray, place: FloatArray, bearing_rad: FloatArray | float
) -> IntArray:
    """Return the side of a line and whether it is near, as one number an end, (n,).

    Args:
        lens: places of the lens, (n, 3) [m].
        place: x and z where the line is looked at, (2,) or (n, 2) [m].
        bearing_rad: of the line, one or (n,).
    """
    away = lens[:, ::2] - place
    bearing = np.arctan2(-away[:, 0], -away[:, 1])
    off = np.sin(bearing - bearing_rad)
    codes: IntArray = np.where(off >= 0, 1, 2) + 2 * (np.abs(off) < sin(NEAR_AXIS_RAD))
    return codes


def pair_costs(out: EndTable, into: EndTable, costs: CutCosts) -> dict[str, IntArray]:
    """Return what every pair of setups of two neighbours costs, by its parts.

    The line of action is not among them: it may be older than the shot before.

    Args:
        out: last frames of the shot before, n setups.
        into: first frames of the shot after, m setups.
        costs: of a cut.

    Returns:
        (n, m) [micro-points] a part; matched reverses count below zero.
    """
    one, two, down = out.any_end, into.any_end, out.as_column()
    parts = {"eye_jump": eye_cost(down, into, two.tan_u / two.tan_v, costs)}
    if one.subject == two.subject:
        parts |= same_subject_costs(down, into, costs)
    elif are_reverses(one, two):
        parts["matched_reverse"] = reverse_cost(down, into, costs)
    return parts


def eye_cost(
    out: EndSights, into: EndSights, aspect: float, costs: CutCosts
) -> IntArray:
    """Return what the eye's jump costs, by the rules of broadcasting [micro-points].

    Args:
        out: how pictures end.
        into: how the next ones begin.
        aspect: width over height of the frame.
        costs: of a cut.
    """
    travel = eye_travel(out.u, out.v, into.u, into.v, aspect)
    travel[np.isnan(travel)] = 0.0
    return micro(np.minimum(costs.eye_jump * travel, costs.most_eye_jump))


def same_subject_costs(
    out: EndSights, into: EndSights, costs: CutCosts
) -> dict[str, IntArray]:
    """Return what two pictures of one person cost, by parts; see `eye_cost`."""
    same_lens = out.focal_mm == into.focal_mm
    steps = size_steps(out.scale, into.scale)
    unknown = np.isnan(steps)
    steps[unknown] = 0.0
    turn = turn_rad(out.toward, into.toward)
    share = np.where(steps < TWO_STEPS, costs.one_step, costs.two_steps)
    share[steps < SAME_SIZE_STEPS] = 1.0
    share[unknown] = 0.0
    lack = np.maximum(1 - turn / LEAST_TURN_RAD, 0)
    alike = ~unknown & (steps < SAME_SIZE_STEPS) & same_lens
    beyond = np.maximum(steps - MOST_SIZE_STEPS, 0)
    return {
        "thirty_degrees": micro(costs.thirty_degrees * lack * share),
        "same_picture": micro(costs.same_picture * (alike & (turn < LEAST_TURN_RAD))),
        "size_jump": micro(costs.size_jump * beyond),
    }


def reverse_cost(out: EndSights, into: EndSights, costs: CutCosts) -> IntArray:
    """Return what two who answer each other gain, below zero; see `eye_cost`."""
    lower = np.abs(out.height_m - into.height_m)
    steeper = np.abs(out.elevation_rad - into.elevation_rad)
    level = (lower <= SAME_HEIGHT_M) | (steeper <= SAME_ELEVATION_RAD)
    same_lens = out.focal_mm == into.focal_mm
    return -micro(costs.matched_reverse * (same_lens & level))
