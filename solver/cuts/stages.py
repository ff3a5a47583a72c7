"""The shots of one scene as stages of the choice across cuts.

A stage asks of earlier ones on which side of its line of action they stood, and which
setup a letter has; it shows the same to later ones.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from ..arrays import IntArray
from .cost import CutCosts, EndTable, end_table, micro
from .lines import LineMemory, turned
from .open_shot import OpenShot, State, keeping_gains

MOST_REMEMBERED = 4


class Recall(NamedTuple):
    """A thing that a later shot asks of earlier ones: a line, or a letter's setup."""

    kind: str
    name: str


@dataclass(frozen=True, kw_only=True, slots=True)
class CutStage:
    """One shot of a scene, an array a quantity over its states.

    `asks` and `shows` map what the shot needs to know, and what it settles, to a
    number a state. `turned` are the lines that turned round since their last sight.
    """

    unary: IntArray
    gains: IntArray
    focal_mm: list[float]
    views: list[str]
    order: list[int]
    first: EndTable
    last: EndTable
    asks: dict[Recall, IntArray]
    shows: dict[Recall, IntArray]
    turned: frozenset[Recall]
    adjacent: bool
    in_row: bool
    elapsed: bool


def stages_of(
    shots: Sequence[OpenShot],
    places: Sequence[int],
    letters: Mapping[str, str],
    costs: CutCosts,
    margin: float | None,
) -> list[CutStage]:
    """Return the stages of a scene's shots.

    Args:
        shots: the whole sequence.
        places: of the scene's shots in it.
        letters: of shots that share a setup, by name.
        costs: of cuts.
        margin: in place of the shots' own.
    """
    memory: LineMemory[None] = LineMemory()
    return [
        _stage_of(SceneShots(shots, places, letters), k, costs, margin, memory)
        for k in range(len(places))
    ]


class SceneShots(NamedTuple):
    """The shots of a scene: places in the sequence, and letters by name of the shot."""

    shots: Sequence[OpenShot]
    places: Sequence[int]
    letters: Mapping[str, str]


def _stage_of(
    scene: SceneShots,
    k: int,
    costs: CutCosts,
    margin: float | None,
    memory: LineMemory[None],
) -> CutStage:
    shots, places, letters = scene
    shot = shots[places[k]]
    states = shot.states
    use = dict(costs.lens_use)

    sizes = dict(costs.size_use)

    def habit_points(state: State) -> float:
        points = use.get(state.first.focal_mm, costs.other_lenses)
        if not state.size:
            return points
        return points + sizes.get(state.size, costs.other_sizes)

    ends = shot.ends
    first = end_table(ends.first, [state.first for state in states])
    last = end_table(ends.last, [state.last for state in states])
    if shot.elapsed:
        memory.clear()
    asks, turns = {}, set()
    for line, before, _ in memory.compared(ends.first):
        ask = Recall("line", line.of)
        asks[ask] = first.sides[line.of]
        if turned(before, line):
            turns.add(ask)
    memory.see(ends.last, None)
    shows = {Recall("line", of): side for of, side in last.sides.items()}
    letter = letters.get(shot.name)
    if letter is not None:
        names = [
            state.setup
            for place in places
            if letters.get(shots[place].name) == letter
            for state in shots[place].states
        ]
        number = {name: n for n, name in enumerate(dict.fromkeys(names))}
        ask = Recall("letter", letter)
        asks[ask] = shows[ask] = np.array([number[state.setup] for state in states])
    in_row = k > 0 and places[k] == places[k - 1] + 1 and not shot.gap
    return CutStage(
        unary=micro(np.array([state.score + habit_points(state) for state in states])),
        gains=keeping_gains(shot, margin),
        focal_mm=[state.first.focal_mm for state in states],
        views=[state.view for state in states],
        order=[state.order for state in states],
        first=first,
        last=last,
        asks=asks,
        shows=shows,
        turned=frozenset(turns),
        adjacent=in_row and not shot.elapsed,
        in_row=in_row,
        elapsed=shot.elapsed,
    )


def needed_after(stages: Sequence[CutStage]) -> list[tuple[Recall, ...]]:
    """Return for each shot what later shots ask of it and those before it.

    Of lines no more than `MOST_REMEMBERED` that the shot itself does not show, those
    seen last.
    """
    later: list[set[Recall]] = [set() for _ in stages]
    wanted: set[Recall] = set()
    for k in range(len(stages) - 1, -1, -1):
        later[k] = set(wanted)
        wanted = (wanted - set(stages[k].shows)) | set(stages[k].asks)
        if stages[k].elapsed:
            wanted = {ask for ask in wanted if ask.kind == "letter"}
    seen: dict[Recall, None] = {}
    needed = []
    for stage, wanted_later in zip(stages, later, strict=True):
        if stage.elapsed:
            seen = {ask: None for ask in seen if ask.kind == "letter"}
        carried = [
            ask for ask in seen if ask in wanted_later and ask not in stage.shows
        ]
        lines = [ask for ask in carried if ask.kind == "line"][-MOST_REMEMBERED:]
        lettered = [ask for ask in carried if ask.kind == "letter"]
        needed.append((*lettered, *lines))
        seen = dict.fromkeys((*lettered, *lines))
        for ask in stage.shows:
            seen.pop(ask, None)
            seen[ask] = None
    return needed
