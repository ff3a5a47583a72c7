"""What a cut costs at every frame of an action, from each of its cameras to each other.

The costs are those of the choice across cuts (`cuts.cost`): line of action, 30 degrees,
sizes, eye, reverses, views. A cut at frame t goes from frame t - 1 of one camera to
frame t of another. All cameras have the same people in the action, so the last sight of
a line is the picture before. The run of one lens is not weighed inside an action.

Some cuts are not made at all: those that bring nothing new (`cuts.brings`; a change of
look alone does not count here), and those out of or into a pan that has not settled,
unless whom it follows walks, who then carries it.
"""

from dataclasses import dataclass
from math import pi

import numpy as np

from ..arrays import BoolArray, FloatArray, IntArray
from ..cuts.cost import (
    CutCosts,
    EndSights,
    eye_cost,
    line_costs,
    micro,
    reverse_cost,
    same_subject_costs,
)
from ..cuts.lines import TURNED_RAD
from ..cuts.rules import LEAST_TURN_RAD, SAME_SIZE_STEPS, size_steps, turn_rad
from .pictures import Pictures

NEVER = np.int64(1) << 60
"""Cost of what is not allowed [micro-points]."""


@dataclass(frozen=True, kw_only=True, slots=True)
class CutTable:
    """Cuts between c cameras at the n frames of an action.

    Attributes:
        cost: from a camera to another at each frame, (c, c, n) [micro-points]; `NEVER`
            where it is not made, and of a camera to itself.
        parts: of the cost, by name, likewise, without what is not made.
        brings: whether a cut brings anything new, (c, c, n).
        settled: whether neither pan is under way, (c, c, n).
    """

    cost: IntArray
    parts: dict[str, IntArray]
    brings: BoolArray
    settled: BoolArray


def cut_table(
    cameras: tuple[Pictures, ...], costs: CutCosts, *, settle: bool = True
) -> CutTable:
    """Return what every cut between cameras of one action costs.

    Args:
        cameras: c of them, over the same frames.
        costs: of a cut.
        settle: whether pans have to settle.
    """
    c, n = len(cameras), cameras[0].n_frames
    cost = np.full((c, c, n), NEVER)
    parts: dict[str, IntArray] = {}
    brings = np.zeros((c, c, n), dtype=np.bool_)
    settled = np.zeros((c, c, n), dtype=np.bool_)
    for i, out in enumerate(cameras):
        for j, into in enumerate(cameras):
            if i == j:
                continue
            found = _parts(out, into, costs)
            for name, points in found.items():
                table = parts.setdefault(name, np.zeros((c, c, n), dtype=np.int64))
                table[i, j, 1:] = points
            brings[i, j, 1:] = _brings(out, into)
            settled[i, j, 1:] = ~(out.moving[:-1] | into.moving[1:])
            made = brings[i, j, 1:] & (settled[i, j, 1:] if settle else True)
            whole = sum(found.values(), np.zeros(n - 1, dtype=np.int64))
            cost[i, j, 1:] = np.where(made, whole, NEVER)
    return CutTable(cost=cost, parts=parts, brings=brings, settled=settled)


def _parts(out: Pictures, into: Pictures, costs: CutCosts) -> dict[str, IntArray]:
    """Return the parts of the cost of cutting before each frame but the first."""
    one, two = _all_but_last(out.sights), _all_but_first(into.sights)
    same = out.subject[:-1] == into.subject[1:]
    parts = {"eye_jump": eye_cost(one, two, into.aspect, costs)}
    for name, points in same_subject_costs(one, two, costs).items():
        parts[name] = np.where(same, points, 0)
    reverses = ~same & _are_reverses(out, into)
    gains = reverse_cost(one, two, costs)
    parts["matched_reverse"] = np.where(reverses, gains, 0)
    alike = out.view == into.view != ""
    parts["same_view"] = np.where(same & alike, micro(costs.same_view), 0)
    parts["line_of_action"] = _lines_crossed(out, into, costs)
    return parts


def _all_but_last(sights: EndSights) -> EndSights:
    return EndSights(**{name: getattr(sights, name)[:-1] for name in _SIGHTS})


def _all_but_first(sights: EndSights) -> EndSights:
    return EndSights(**{name: getattr(sights, name)[1:] for name in _SIGHTS})


_SIGHTS = tuple(EndSights.__slots__)


def _are_reverses(out: Pictures, into: Pictures) -> BoolArray:
    """Return where two pictures show the two of one pair, (n - 1,).

    See `cuts.rules.are_reverses`.
    """
    here, there = out.subject[:-1], into.subject[1:]
    n = np.arange(len(here))
    framed, slow = np.ones(len(here), np.bool_), np.ones(len(here), np.bool_)
    for pictures, at in ((out, n), (into, n + 1)):
        for who in (here, there):
            framed &= pictures.framed[who, at]
            slow &= pictures.slow[who, at]
    either: BoolArray = framed | slow
    return either


def _lines_crossed(out: Pictures, into: Pictures, costs: CutCosts) -> IntArray:
    """Return what the lines of action cost; of several the dearest counts, (n - 1,)."""
    dearest = np.zeros(out.n_frames - 1, dtype=np.int64)
    for of, codes in out.sides.items():
        was, now = codes[:-1], into.sides[of][1:]
        turn = into.bearings[of][1:] - out.bearings[of][:-1]
        turned = np.abs((turn + pi) % (2 * pi) - pi) > TURNED_RAD
        table = line_costs(costs, line_turned=False)[was, now]
        again = line_costs(costs, line_turned=True)[was, now]
        dearest = np.maximum(dearest, np.where(turned, again, table))
    return dearest


def _brings(out: Pictures, into: Pictures) -> BoolArray:
    """Return where a cut brings anything new, (n - 1,)."""
    one, two = _all_but_last(out.sights), _all_but_first(into.sights)
    people = (out.shown[:, :-1] != into.shown[:, 1:]).any(axis=0)
    other = out.subject[:-1] != into.subject[1:]
    steps: FloatArray = np.nan_to_num(size_steps(one.scale, two.scale))
    turned = turn_rad(one.toward, two.toward) >= LEAST_TURN_RAD
    brings: BoolArray = people | other | (steps >= SAME_SIZE_STEPS) | turned
    return brings
