"""Chooses a setup for every camera of an action, all together: part of the join.

Cameras of one action are cut among one another, so a pair of setups costs what a cut
between them costs by the rules of continuity, at the first and at the last frame of the
action, half each, but for the jump of the eye. Where the cameras roll at once, two
setups that see each other or stand in each other's way are not taken; that is looked at
on their finished takes, and only for setups that the choice comes to.
"""

from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations

import numpy as np

from ...solver.arrays import IntArray
from ...solver.coverage.cutting import NEVER
from ...solver.coverage.together import (
    Pairs,
    Together,
    choose_together,
    divisions,
)
from ...solver.coverage.unseen import RollingCamera, clash_of, ground_of, standing
from ...solver.cuts.cost import (
    MICRO,
    CutCosts,
    EndTable,
    line_costs,
    pair_costs,
    view_costs,
)
from ...solver.cuts.open_shot import OpenShot, keeping_gains
from ...solver.cuts.stages import CutStage, stages_of
from ...solver.errors import SolverError
from ...solver.take import operate
from ..errors import ShotDataError
from ..job.action import ActionSpec
from ..job.shot import ShotSpec
from ..takes.judgement import Judgement
from .choose import chosen_of, cut_costs, open_shot, runner_up_of
from .chosen import Chosen
from .shots import prepare
from .solve_shot import Work

_BETWEEN = "between cameras"


def choose_cameras(
    work: Work, judgements: Mapping[str, Judgement]
) -> dict[str, Chosen]:
    """Return the setups of the cameras of all actions, by name of the shot.

    Args:
        work: the run.
        judgements: by name of the shot; cameras without candidates are left out.
    """
    found: dict[str, Chosen] = {}
    for action in work.job.actions:
        specs = [
            work.job.shot(name)
            for name in map(action.shot_of, action.cameras)
            if name in judgements and judgements[name].candidates
        ]
        if specs:
            choice = _ActionChoice(work, action, specs, judgements)
            found |= choice.chosen()
    return found


class _ActionChoice:
    """The choice for the cameras of one action."""

    def __init__(
        self,
        work: Work,
        action: ActionSpec,
        specs: Sequence[ShotSpec],
        judgements: Mapping[str, Judgement],
    ) -> None:
        """Work out what setups and pairs of them cost; no take is looked at yet."""
        self._work, self._action, self._specs = work, action, specs
        self._judgements = [judgements[spec.name] for spec in specs]
        self._shots = [
            open_shot(spec, one, gap=False)
            for spec, one in zip(specs, self._judgements, strict=True)
        ]
        costs = cut_costs(work.job)
        stages = [_stage(shot, costs) for shot in self._shots]
        self._own = [stage.unary - stage.gains for stage in stages]
        self._pairs = {
            (j, k): _between(stages[j], stages[k], costs)
            for j, k in combinations(range(len(specs)), 2)
        }
        self._standing: dict[tuple[int, int], RollingCamera | None] = {}

    def chosen(self) -> dict[str, Chosen]:
        """Return the setups, with why, by name of the shot."""
        picked = self._picked()
        return {
            spec.name: self._chosen(k, picked) for k, spec in enumerate(self._specs)
        }

    def _picked(self) -> list[int]:
        """Return the setup of each camera."""
        everybody = tuple(range(len(self._specs)))
        if not self._action.together or len(everybody) == 1:
            return list(self._unseen(everybody, self._pairs).chosen)
        allowed = dict(self._pairs)
        for runs in _fewest_first(len(everybody)):
            found = [self._rolling(run, allowed) for run in runs]
            if None not in found:
                return self._best(runs, found, allowed)
        raise AssertionError

    def _best(
        self,
        runs: tuple[tuple[int, ...], ...],
        found: Sequence[Together | None],
        allowed: dict[tuple[int, int], IntArray],
    ) -> list[int]:
        """Return the setups of the best division into as many runs.

        Args:
            runs: the first division for which there are setups.
            found: those of each of its runs.
            allowed: what pairs cost, `NEVER` where two were found to clash.
        """
        best, least = list(zip(runs, found, strict=True)), _total(found)
        for other in _fewest_first(len(self._specs)):
            if len(other) != len(runs) or other == runs:
                continue
            ways = [self._rolling(run, allowed) for run in other]
            if None not in ways and _total(ways) < least:
                best, least = list(zip(other, ways, strict=True)), _total(ways)
        picked = [0] * len(self._specs)
        for run, way in best:
            assert way is not None
            for k, index in zip(run, way.chosen, strict=True):
                picked[k] = index
        return picked

    def _rolling(
        self, run: tuple[int, ...], allowed: dict[tuple[int, int], IntArray]
    ) -> Together | None:
        """Return the best setups of cameras that roll at once, None for none.

        A pair is looked at when the choice comes to it, and forbidden where it
        clashes; the first choice in which none does is the best of all, since every
        pair that was not looked at was taken for allowed.
        """
        while True:
            way = choose_together([self._own[k] for k in run], _of_run(allowed, run))
            if way is None:
                return None
            clashes = [
                (pair, index)
                for pair, index in _indexed(run, way.chosen)
                if self._clash(pair, index)
            ]
            if not clashes:
                return way
            for pair, index in clashes:
                if allowed[pair] is self._pairs[pair]:
                    allowed[pair] = self._pairs[pair].copy()
                allowed[pair][index] = NEVER

    def _unseen(self, run: tuple[int, ...], pairs: Pairs) -> Together:
        way = choose_together([self._own[k] for k in run], pairs)
        assert way is not None
        return way

    def _clash(self, pair: tuple[int, int], index: tuple[int, int]) -> bool:
        one, two = (self._stands(*at) for at in zip(pair, index, strict=True))
        return one is not None and two is not None and clash_of(one, two) is not None

    def _stands(self, camera: int, index: int) -> RollingCamera | None:
        """Return a camera in one of its setups; None where that has no take."""
        key = camera, index
        if key not in self._standing:
            spec = self._specs[camera]
            setup = self._judgements[camera].candidates[index].setup
            work = self._work
            try:
                prepared = prepare(
                    work.job, spec.with_setup(setup), work.folder, read=work.read
                )
                take = operate(prepared.shot)
            except (ShotDataError, SolverError):  # its take fails by itself
                self._standing[key] = None
            else:
                self._standing[key] = standing(take, ground_of(take))
        return self._standing[key]

    def _chosen(self, k: int, picked: Sequence[int]) -> Chosen:
        """Return the choice for a camera; the next best has the others as chosen."""
        judgement, index = self._judgements[k], picked[k]
        others = np.zeros(len(self._own[k]), dtype=np.int64)
        for j, other in enumerate(picked):
            if j < k:
                others += self._pairs[j, k][other]
            elif j > k:
                others += self._pairs[k, j][:, other]
        costs = self._own[k] + others
        kinds = [state.kind for state in self._shots[k].states]
        gains = keeping_gains(self._shots[k])
        ranked = sorted(
            (int(cost), a) for a, cost in enumerate(costs) if kinds[a] != kinds[index]
        )
        runner_up = None
        if ranked:
            cost, other = ranked[0]
            runner_up = runner_up_of(
                judgement.candidates[other],
                (cost - int(costs[index])) / MICRO,
                int(gains[index] - gains[other]) / MICRO,
            )
        cut = {_BETWEEN: int(others[index]) / MICRO} if others[index] else {}
        return chosen_of(judgement, index, cut=cut, runner_up=runner_up)


def _stage(shot: OpenShot, costs: CutCosts) -> CutStage:
    """Return a camera's setups, as if it were the only shot of a sequence."""
    (stage,) = stages_of([shot], [0], {}, costs, None)
    return stage


def _between(one: CutStage, two: CutStage, costs: CutCosts) -> IntArray:
    """Return what each pair of setups of two cameras costs, (n, m) [micro-points]."""
    moments = ((one.first, two.first), (one.last, two.last))
    whole: IntArray = sum(
        (_at_once(a, b, (one, two), costs) for a, b in moments),
        np.zeros((len(one.unary), len(two.unary)), dtype=np.int64),
    )
    return whole // len(moments)


def _at_once(
    a: EndTable, b: EndTable, stages: tuple[CutStage, CutStage], costs: CutCosts
) -> IntArray:
    """Return what a cut between two cameras costs at one moment, (n, m)."""
    parts = pair_costs(a, b, costs)
    del parts["eye_jump"]
    if a.any_end.subject == b.any_end.subject:
        parts["same_view"] = view_costs(stages[0].views, stages[1].views, costs)
    table = line_costs(costs, line_turned=False)
    lines = [
        table[a.sides[of][:, None], b.sides[of]]
        for of in a.sides
        if of in b.sides and ("|" in of or len(a.sides) == 1)
    ]
    whole = np.zeros((len(a.u), len(b.u)), dtype=np.int64)
    if lines:
        whole = np.max(lines, axis=0)
    return sum(parts.values(), whole)


def _fewest_first(n: int) -> list[tuple[tuple[int, ...], ...]]:
    """Return every way to divide cameras into runs, the fewest first."""
    return sorted(divisions(n), key=lambda runs: (len(runs), runs))


def _total(ways: Sequence[Together | None]) -> int:
    return sum(way.total for way in ways if way is not None)


def _of_run(pairs: Pairs, run: tuple[int, ...]) -> Pairs:
    """Return what pairs of the cameras of a run cost, numbered within it."""
    return {(a, b): pairs[run[a], run[b]] for a, b in combinations(range(len(run)), 2)}


def _indexed(
    run: tuple[int, ...], chosen: tuple[int, ...]
) -> Iterator[tuple[tuple[int, int], tuple[int, int]]]:
    """Yield pairs of cameras of a run, with the setups chosen for them."""
    for a, b in combinations(range(len(run)), 2):
        yield (run[a], run[b]), (chosen[a], chosen[b])
