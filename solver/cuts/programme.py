"""The dynamic programme of one scene; what it minimises stands in `sequence`.

Its state is the shot's setup, the run of its lens (capped at three), the sides of
lines that a later shot asks for, and the setups of letters that come again. States
are kept sparse, so that what cannot happen costs nothing.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from ..arrays import BoolArray, IntArray
from ..errors import SolverError
from .cost import MICRO, CutCosts, line_costs, micro, pair_costs, view_costs
from .open_shot import OpenShot
from .stages import CutStage, Recall, needed_after, stages_of

_NEVER = np.int64(1) << 60
_RUN = 3
_MOST_CODES = 1_000_000  # more are sorted instead of counted


@dataclass(frozen=True, kw_only=True, slots=True)
class Layer:
    """The sparse states of the programme at one shot, and the way to the next.

    `state`, `run` and each of `memory` are (s,). `step` (s, m) is the cost of going on
    to each of the next shot's m states, `to` (s, m) the sparse state it leads to.
    """

    state: IntArray
    run: IntArray
    memory: dict[Recall, IntArray]
    step: IntArray = field(default_factory=lambda: np.zeros((0, 0), dtype=np.int64))
    to: IntArray = field(default_factory=lambda: np.zeros((0, 0), dtype=np.int64))


class Programme:
    """The dynamic programme of one scene.

    Raises:
        SolverError: the shots of a letter have no setup in common.
    """

    def __init__(
        self,
        shots: Sequence[OpenShot],
        places: Sequence[int],
        letters: Mapping[str, str],
        costs: CutCosts,
        margin: float | None,
    ) -> None:
        self._costs = costs
        self._stages = stages_of(shots, places, letters, costs, margin)
        self._pairs = [
            _pair_parts(one, two, costs) if two.adjacent else {}
            for one, two in zip(self._stages, self._stages[1:], strict=False)
        ]
        self._sums = [
            sum(parts.values(), np.zeros((len(one.unary), len(two.unary)), np.int64))
            for parts, one, two in zip(
                self._pairs, self._stages, self._stages[1:], strict=False
            )
        ]
        self._needed = needed_after(self._stages)
        self._layers: list[Layer] = []
        self._ahead: list[IntArray] = []
        self._behind: list[IntArray] = []

    def solve(self) -> list[int]:
        """Return the best state of each shot."""
        self._forward()
        self._backward()
        layer, ahead = self._layers[0], self._ahead[0]
        costs = self._own(0)[layer.state] + ahead
        at = self._least(costs, layer.state, 0)
        picked = [int(layer.state[at])]
        for k in range(1, len(self._stages)):
            here = self._layers[k - 1]
            on = self._own(k) + here.step[at]
            reach = np.where(here.to[at] >= 0, here.to[at], 0)
            on = np.where(here.to[at] >= 0, on + self._ahead[k][reach], _NEVER)
            state = self._least(on, np.arange(len(on)), k)
            picked.append(state)
            at = int(here.to[at, state])
        return picked

    def total(self, picked: Sequence[int], parts: Sequence[Mapping[str, float]]) -> int:
        """Return what a choice costs, keeping gains left out [micro-points].

        Args:
            picked: state of each shot.
            parts: of its cuts, see `parts`.
        """
        own = sum(
            int(stage.unary[index])
            for stage, index in zip(self._stages, picked, strict=True)
        )
        return own + sum(round(cost * MICRO) for cut in parts for cost in cut.values())

    def parts(self, picked: Sequence[int]) -> list[dict[str, float]]:
        """Return the parts of the cost of the cut into each shot [points]."""
        found: list[dict[str, float]] = [{}]
        at = int(np.flatnonzero(self._layers[0].state == picked[0])[0])
        for k in range(1, len(self._stages)):
            here, state, before = self._layers[k - 1], picked[k], picked[k - 1]
            parts = {
                name: int(table[before, state])
                for name, table in self._pairs[k - 1].items()
            }
            lines = self._line_step(k, here)[at, state]
            parts["line_of_action"] = int(lines)
            parts["lens_run"] = int(here.step[at, state] - lines) - sum(
                cost for name, cost in parts.items() if name != "line_of_action"
            )
            found.append({name: cost / MICRO for name, cost in parts.items() if cost})
            at = int(here.to[at, state])
        return found

    def forced(self) -> list[tuple[float, ...]]:
        """Return for each shot and state what forcing it adds to the best [points]."""
        found = []
        for layer, ahead, behind, stage in zip(
            self._layers, self._ahead, self._behind, self._stages, strict=True
        ):
            best = np.full(len(stage.unary), _NEVER)
            whole = np.minimum(ahead + behind, _NEVER)
            np.minimum.at(best, layer.state, whole)
            extra = best - best.min()
            found.append(
                tuple(
                    float("inf") if cost >= _NEVER // 2 else int(more) / MICRO
                    for cost, more in zip(best, extra, strict=True)
                )
            )
        return found

    def _own(self, k: int) -> IntArray:
        stage = self._stages[k]
        return stage.unary - stage.gains

    def _least(self, costs: IntArray, states: IntArray, k: int) -> int:
        """Return where costs are least, the least `order` among equals."""
        order = self._stages[k].order
        equal = np.flatnonzero(costs == costs.min())
        return int(min(equal, key=lambda at: (order[int(states[at])], int(at))))

    def _forward(self) -> None:
        n = len(self._stages[0].unary)
        layer = Layer(state=np.arange(n), run=np.ones(n, dtype=np.int64), memory={})
        self._behind = [self._own(0).copy()]
        for k in range(1, len(self._stages)):
            layer, following = self._step(k, layer)
            self._layers.append(layer)
            cost = np.full(len(following.state), _NEVER)
            whole = self._behind[-1][:, None] + layer.step + self._own(k)
            ways = layer.to >= 0
            np.minimum.at(cost, layer.to[ways], whole[ways])
            self._behind.append(cost)
            layer = following
        self._layers.append(layer)

    def _backward(self) -> None:
        ahead = np.zeros(len(self._layers[-1].state), dtype=np.int64)
        self._ahead = [ahead]
        for k in range(len(self._stages) - 1, 0, -1):
            layer = self._layers[k - 1]
            ways = layer.to >= 0
            on = layer.step + self._own(k) + ahead[np.where(ways, layer.to, 0)]
            ahead = np.minimum(np.where(ways, on, _NEVER).min(axis=1), _NEVER)
            self._ahead.insert(0, ahead)

    def _line_step(self, k: int, layer: Layer) -> IntArray:
        """Return what lines of action cost from each sparse state, (s, m).

        Of several lines that a cut crosses the dearest counts.
        """
        stage = self._stages[k]
        cost = np.zeros((len(layer.state), len(stage.unary)), dtype=np.int64)
        for ask, asked in stage.asks.items():
            known = self._known(k, layer, ask)
            if ask.kind == "line" and known is not None:
                table = line_costs(self._costs, line_turned=ask in stage.turned)
                cost = np.maximum(cost, table[known[:, None], asked])
        return cost

    def _known(self, k: int, layer: Layer, ask: Recall) -> IntArray | None:
        """Return what each sparse state before shot k knows of a thing, (s,)."""
        if ask.kind == "line" and self._stages[k].elapsed:
            return None
        shown = self._stages[k - 1].shows.get(ask)
        if shown is not None:
            return shown[layer.state]
        return layer.memory.get(ask)

    def _step(self, k: int, layer: Layer) -> tuple[Layer, Layer]:
        """Return a layer with its way to shot k, and the layer there."""
        before, stage = self._stages[k - 1], self._stages[k]
        shape = (len(layer.state), len(stage.unary))
        step = self._sums[k - 1][layer.state] + self._line_step(k, layer)
        allowed = np.ones(shape, dtype=np.bool_)
        for ask, asked in stage.asks.items():
            known = self._known(k, layer, ask)
            if ask.kind == "letter" and known is not None:
                allowed &= known[:, None] == asked
        if not allowed.any():
            message = "shots that share a setup by letter have none in common"
            raise SolverError(message)
        run = np.ones(shape, dtype=np.int64)
        if stage.in_row and self._costs.lens_run:
            focal = np.array(before.focal_mm)[layer.state]
            same = focal[:, None] == np.array(stage.focal_mm)
            run = np.where(same, np.minimum(layer.run[:, None] + 1, _RUN), 1)
            step = step + micro(self._costs.lens_run) * (run == _RUN)
        memory = {}
        for ask in self._needed[k]:
            known = self._known(k, layer, ask)
            if ask not in stage.shows and known is not None:
                memory[ask] = np.broadcast_to(known[:, None], shape)
        columns = [np.broadcast_to(np.arange(shape[1]), shape), run, *memory.values()]
        to, first = _numbered(columns, allowed)
        kept = [column[allowed][first] for column in columns]
        following = Layer(
            state=kept[0],
            run=kept[1],
            memory=dict(zip(memory, kept[2:], strict=True)),
        )
        whole = Layer(
            state=layer.state, run=layer.run, memory=layer.memory, step=step, to=to
        )
        return whole, following


def _pair_parts(one: CutStage, two: CutStage, costs: CutCosts) -> dict[str, IntArray]:
    """Return what every pair of setups of two neighbours costs, by its parts."""
    parts = pair_costs(one.last, two.first, costs)
    if one.last.any_end.subject == two.first.any_end.subject:
        parts["same_view"] = view_costs(one.views, two.views, costs)
    return parts


def _numbered(
    columns: Sequence[IntArray], allowed: BoolArray
) -> tuple[IntArray, IntArray]:
    """Number the different rows that columns of small whole numbers make.

    Args:
        columns: each of the shape of `allowed`, >= 0.
        allowed: which rows count.

    Returns:
        The number of each row, -1 where it does not count, and for each number the
        place among the counted rows of one that has it.
    """
    code = np.zeros(allowed.shape, dtype=np.int64)
    many = 1
    for column in columns:
        width = int(column.max()) + 1
        code = code * width + column
        many *= width
    to = np.full(allowed.shape, -1, dtype=np.int64)
    counted = code[allowed]
    if many > _MOST_CODES:
        _, first, inverse = np.unique(counted, return_index=True, return_inverse=True)
        to[allowed] = inverse
        return to, first
    place = np.full(many, -1, dtype=np.int64)
    place[counted] = np.arange(len(counted))
    present = place >= 0
    to[allowed] = (np.cumsum(present) - 1)[counted]
    return to, place[present]
