"""The choice across cuts: one setup a shot, so that the whole sequence costs least.

The cost of a choice is the sum, over its shots, of

- the setup's own score, and what the use of its lens costs;
- where the shot follows another of its scene and no time has elapsed: the pair's
  `cut_cost.pair_costs`;
- for the lines of action on which the shot begins (`lines`): what it costs to stand on
  the other side of one than at its last sight in the scene, unless time has elapsed
  since; of several the dearest counts. Of the lines that come again, not more than
  `stages.MOST_REMEMBERED` are remembered past the shot before, those seen last;
- the third shot in a row on one lens, and each after it;

less what a shot gains that keeps its earlier setup. Shots of one scene that share a
setup by letter take the same one, or the choice is not allowed. Scenes do not touch.

This is solved exactly, by the dynamic programme of `cut_programme`. Sums are whole
micro-points. Among equals the choice is the one whose `order` numbers are least, the
earliest shot first.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import isfinite

from .cost import MICRO, CutCosts
from .open_shot import OpenShot
from .programme import Programme


@dataclass(frozen=True, kw_only=True, slots=True)
class Choice:
    """The setups chosen for a sequence.

    Attributes:
        chosen: index of each shot's state.
        total: what the sequence costs, keeping gains left out [points].
        cuts: parts of the cost of the cut into each shot [points]; zeros left out.
        forced: for each shot and state, how much more the best sequence with that
            state costs [points]; 0 for the chosen one, inf where none is allowed.
            Gains of keeping count.
        runner_up: index of each shot's next best state of another kind, None where
            there is none.
    """

    chosen: tuple[int, ...]
    total: float
    cuts: tuple[dict[str, float], ...]
    forced: tuple[tuple[float, ...], ...]
    runner_up: tuple[int | None, ...]

    def runner_up_costs(self, shot: int) -> float | None:
        """Return how much more the sequence costs with a shot's runner-up [points]."""
        index = self.runner_up[shot]
        return None if index is None else self.forced[shot][index]


def choose_sequence(
    shots: Sequence[OpenShot],
    *,
    shared: Mapping[str, str] | None = None,
    costs: CutCosts | None = None,
    margin: float | None = None,
) -> Choice:
    """Choose a setup for every shot of a sequence, exactly.

    Args:
        shots: in the order of the sequence.
        shared: letters of shots that share a setup, by name of the shot; a letter
            counts inside a scene, and setups are the same when `State.setup` is.
        costs: of cuts.
        margin: share of the kept setup's score by which another has to beat it, in
            place of each shot's own. A shot whose own inputs are unchanged is moved
            only to save `open_shot.STEADY` more.

    Raises:
        SolverError: the shots of a letter have no setup in common.
    """
    asked = CutCosts() if costs is None else costs
    letters = {} if shared is None else shared
    chosen = [0] * len(shots)
    cuts: list[dict[str, float]] = [{} for _ in shots]
    forced: list[tuple[float, ...]] = [() for _ in shots]
    total = 0
    scenes: dict[str, list[int]] = {}
    for k, shot in enumerate(shots):
        scenes.setdefault(shot.scene, []).append(k)
    for places in scenes.values():
        programme = Programme(shots, places, letters, asked, margin)
        picked = programme.solve()
        parts = programme.parts(picked)
        total += programme.total(picked, parts)
        for k, index, cut, extra in zip(
            places, picked, parts, programme.forced(), strict=True
        ):
            chosen[k], cuts[k] = index, cut
            forced[k] = extra
    return Choice(
        chosen=tuple(chosen),
        total=total / MICRO,
        cuts=tuple(cuts),
        forced=tuple(forced),
        runner_up=tuple(
            _runner_up(shot, index, extra)
            for shot, index, extra in zip(shots, chosen, forced, strict=True)
        ),
    )


def _runner_up(shot: OpenShot, chosen: int, extra: tuple[float, ...]) -> int | None:
    others = [
        (cost, shot.states[k].order, k)
        for k, cost in enumerate(extra)
        if isfinite(cost) and k != chosen and _differ(shot, chosen, k)
    ]
    return min(others)[2] if others else None


def _differ(shot: OpenShot, one: int, two: int) -> bool:
    """Tell whether two states of a shot are of different kinds."""
    kinds = shot.states[one].kind, shot.states[two].kind
    return "" in kinds or kinds[0] != kinds[1]
