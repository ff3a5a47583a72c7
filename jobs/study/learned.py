"""What was learned from studied cameras, written so that jobs can name it."""

from collections import Counter
from collections.abc import Iterable, Mapping
from math import degrees
from typing import Any

from ...solver.presets import Member
from ...solver.studies.study import CREW, Study
from ..job.crew import CrewFileSpec
from ..job.habits import HabitsSpec

_ANGULAR = ("max_speed", "max_accel", "max_jerk")
_FIELDS = {"speed_weight_s2": "velocity_weight_s2"}
_KEPT = (
    "reaction_s",
    "rest_s",
    "tolerance",
    "max_speed",
    "max_accel",
    "max_jerk",
    "bandwidth_rad_s",
    "fade_s",
    "stiffness_rad_s",
    "speed_weight_s2",
)


def crew_toml(study: Study, name: str) -> str | None:
    """Return the crew that explains a camera as a crew's file, None if none does.

    Intervals stand beside the numbers as comments. The focus puller is the preset's:
    a camera's curves do not tell of one.

    Args:
        study: with crews looked for.
        name: what takes and reviews will call it.
    """
    operator, found = study.member("operator"), study.operator
    if study.verdict.kind != CREW or operator is None or found is None:
        return None
    preset = found.trial.preset
    lines = [
        f"# {study.verdict.why}",
        f'name = "{name}"',
        f'based_on = "{preset}"',
        "",
        "[operator]",
        *_member(operator, study, "operator", degrees(1.0)),
    ]
    grip = study.member("grip")
    if grip is not None:
        lines += ["", "[grip]", *_member(grip, study, "grip", 1.0)]
    shake = study.shake
    level = shake.level if shake.level is not None else "locked"
    lines += ["", "[shake]", f'level = "{level}"']
    if shake.percent is not None and shake.band_hz is not None:
        lines[-1:] = [
            f'level = "{level}"',
            f"percent = {shake.percent:.4g}  # {shake.low:.3g} to {shake.high:.3g}",
        ]
    text = "\n".join(lines) + "\n"
    _check(text)
    return text


def _member(member: Member, study: Study, channel: str, scale: float) -> list[str]:
    found = study.operator if channel == "operator" else study.grip
    assert found is not None
    lines = []
    for name in _KEPT:
        by = scale if name in _ANGULAR else 1.0
        line = f"{_FIELDS.get(name, name)} = {getattr(member, name) * by:.6g}"
        one = found.ranges.get(name)
        if one is not None:
            line += f"  # {one.low * by:.4g} to {one.high * by:.4g}"
        lines.append(line)
    return lines


def _check(text: str) -> None:
    """Hold what is written against the schema that will read it."""
    import tomllib

    CrewFileSpec.model_validate(tomllib.loads(text))


def habits_of(rows: Iterable[Mapping[str, Any]]) -> HabitsSpec:
    """Return the lens and size use of a sequence, by time on screen.

    Args:
        rows: of its studied cameras.
    """
    lenses: Counter[str] = Counter()
    sizes: Counter[str] = Counter()
    total = 0.0
    for row in rows:
        seconds = float(row["seconds"])
        lenses[f"{row['focal_mm']:.1f}".removesuffix(".0")] += seconds  # type: ignore[assignment]
        sizes[str(row["size"])] += seconds  # type: ignore[assignment]
        total += seconds
    return HabitsSpec.model_validate(
        {
            "lens_use": {name: _share(value, total) for name, value in lenses.items()},
            "size_use": {name: _share(value, total) for name, value in sizes.items()},
            "variety": 1.0,
        }
    )


def habits_toml(habits: HabitsSpec) -> str:
    """Return habits as the table of a job file."""
    lens_use = ", ".join(f'"{name}" = {v}' for name, v in habits.lens_use.items())
    size_use = ", ".join(f"{name} = {v}" for name, v in habits.size_use.items())
    return (
        "[habits]\n"
        f"lens_use = {{ {lens_use} }}\n"
        f"size_use = {{ {size_use} }}\n"
        f"variety = {habits.variety}\n"
    )


def _share(value: float, total: float) -> float:
    return round(value / total, 4)
