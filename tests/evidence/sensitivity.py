"""What each dial of the operator does, one at a time, on recorded football.

Everything but the dial is the preset `brisk`. Where a dial multiplies the limits,
speed, acceleration and jerk go together.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from carrellata.solver.presets import PRESETS, Crew, Member

from .baselines import crew as performed
from .clips import Clip, clips, judge, staged
from .targets import SET_A
from .tracking import track


@dataclass(frozen=True, kw_only=True, slots=True)
class Setting:
    """One setting of one dial, means over the clips."""

    dial: str
    value: float
    in_frame: float
    miss_rms: float
    lag_s: float
    corrections_per_s: float
    crossover_rad_s: float
    delay_s: float


def _limits(member: Member, share: float) -> Member:
    return replace(
        member,
        max_speed=member.max_speed * share,
        max_accel=member.max_accel * share,
        max_jerk=member.max_jerk * share,
    )


DIALS: dict[str, tuple[tuple[float, ...], Callable[[Member, float], Member]]] = {
    "reaction_s": (
        (0.0, 0.08, 0.125, 0.16, 0.2, 0.25, 0.3, 0.4),
        lambda member, value: replace(member, reaction_s=value),
    ),
    "tolerance": (
        (0.01, 0.02, 0.04, 0.07, 0.1, 0.14, 0.2, 0.3),
        lambda member, value: replace(member, tolerance=value),
    ),
    "rest_s": (
        (0.05, 0.1, 0.15, 0.2, 0.25, 0.35, 0.5, 0.7),
        lambda member, value: replace(member, rest_s=value),
    ),
    "limits": ((0.1, 0.15, 0.2, 0.3, 0.5, 0.75, 1.0, 2.0), _limits),
}


def dialled(dial: str, value: float, preset: str = "brisk") -> Crew:
    """Return a preset's crew with one dial of its operator set."""
    crew = PRESETS[preset]
    return replace(crew, operator=DIALS[dial][1](crew.operator, value))


def over_clips(crew: Crew, chosen: list[Clip]) -> dict[str, float]:
    """Return means of a crew's figures over clips, on sticks."""
    rows = []
    for clip in chosen:
        one = staged(clip, "sticks", crew)
        rows.append(judge(one, performed(one)))
    means = {}
    for name in ("in_frame", "miss_rms", "lag_s", "decisions_per_s"):
        values = [row[name] for row in rows if row[name] is not None]
        means[name] = float(np.mean(values)) if values else float("nan")
    return means


def football() -> list[Clip]:
    """Return the football clips."""
    return [clip for clip in clips() if clip.name.startswith("football")]


def settings() -> list[Setting]:
    """Return every setting of every dial."""
    chosen = football()
    out = []
    for dial, (values, _) in DIALS.items():
        for value in values:
            crew = dialled(dial, value)
            means = over_clips(crew, chosen)
            found = track(SET_A, crew, runs=3).found
            out.append(
                Setting(
                    dial=dial,
                    value=value,
                    in_frame=means["in_frame"],
                    miss_rms=means["miss_rms"],
                    lag_s=means["lag_s"],
                    corrections_per_s=means["decisions_per_s"],
                    crossover_rad_s=found.crossover,
                    delay_s=found.delay_s,
                )
            )
    return out


def presets() -> list[Setting]:
    """Return the presets as settings of a dial called preset, by number."""
    out = []
    chosen = football()
    for number, crew in enumerate(PRESETS.values()):
        means = over_clips(crew, chosen)
        found = track(SET_A, crew, runs=3).found
        out.append(
            Setting(
                dial=crew.preset,
                value=float(number),
                in_frame=means["in_frame"],
                miss_rms=means["miss_rms"],
                lag_s=means["lag_s"],
                corrections_per_s=means["decisions_per_s"],
                crossover_rad_s=found.crossover,
                delay_s=found.delay_s,
            )
        )
    return out
