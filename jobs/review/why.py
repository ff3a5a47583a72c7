"""Why a shot has its setup, and what the next best one would have cost."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from ..job.setup import SetupSpec
from ..job.world import WorldSpec
from ..takes.runner_up import RunnerUp
from .explain import PARTS, setup_words


@dataclass(frozen=True, kw_only=True, slots=True)
class Why:
    """Why a setup was chosen.

    Attributes:
        words: sentences.
        runner_up: the next best one in sentences; "" where there is none.
        parts: what each costs: what for, points of the setup and of the runner-up.
    """

    words: str
    runner_up: str = ""
    parts: tuple[tuple[str, str, str], ...] = ()


def why_of(why: str | None, runner_up: str | None, world: WorldSpec | None) -> Why:
    """Return why a setup was chosen, from what the choice wrote as JSON.

    Args:
        why: of the row.
        runner_up: of the row.
        world: of the scene, by which places are told in metres; None: there is no
            take that says it, and they stay in scene units.
    """
    if not why:
        return Why(words="The job fixes this setup.")
    chosen = json.loads(why)
    cut, cost = chosen["cut"], chosen["score"]
    words = (
        f"Chosen among {chosen['candidates']} setups that hold the shot, "
        f"{chosen['tried']} tried, for {cost:.2f} points (fewer are better)"
    )
    words += f" and {sum(cut.values()):.2f} for the cut into it." if cut else "."
    if chosen["kept"]:
        words += " It is the setup of the last solve; no other beat it by the margin."
    if runner_up is None:
        words += " No setup of another rig, view or lens holds the shot."
        return Why(words=words, parts=_parts(chosen["parts"], {}, cut))
    other = RunnerUp.from_plain(json.loads(runner_up))
    dearer = f"; {other.words}" if other.words else ""
    tie = ", which is a matter of taste" if other.tie else ""
    return Why(
        words=words,
        runner_up=f"Runner-up: {_in_metres(other.setup, world)}. It costs "
        f"{other.score:.2f} points{dearer}{tie}.",
        parts=_parts(chosen["parts"], other.parts, cut),
    )


def _in_metres(setup: SetupSpec, world: WorldSpec | None) -> str:
    """Return a setup in a line, places in metres where the scene is known."""
    if world is None:
        return f"{setup_words(setup)}, places in scene units"
    rig = setup.rig
    lengths = {
        name: _scaled(getattr(rig, name), world)
        for name in ("at", "from_", "to", "centre", "radius")
        if hasattr(rig, name)
    }
    metric = setup.model_copy(update={"rig": rig.model_copy(update=lengths)})
    return f"{setup_words(metric)}, places in metres"


def _scaled(value: Any, world: WorldSpec) -> Any:
    if isinstance(value, tuple | list):
        return tuple(_scaled(one, world) for one in value)
    return round(world.metres(value), 2) + 0.0


def _parts(
    own: Mapping[str, float], other: Mapping[str, float], cut: Mapping[str, float]
) -> tuple[tuple[str, str, str], ...]:
    """Return the parts of both scores, the dearest first, then those of the cut."""
    names = sorted(
        own.keys() | other.keys(),
        key=lambda name: (-max(abs(own.get(name, 0)), abs(other.get(name, 0))), name),
    )
    rows = [
        (PARTS.get(n, n), _points(own.get(n)), _points(other.get(n))) for n in names
    ]
    cuts = sorted(cut.items(), key=lambda part: (-abs(part[1]), part[0]))
    return (
        *rows,
        *((f"cut: {PARTS.get(n, n)}", _points(cost), "") for n, cost in cuts),
    )


def _points(points: float | None) -> str:
    return "\u2013" if points is None else f"{points:.2f}".replace("-", "\u2212")
