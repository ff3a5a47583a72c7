"""Setups shared by letter: shots of a scene that use the same setup."""

from collections.abc import Iterator, Mapping
from typing import Any

from .locations import Finding, shown
from .rig_choice import ChooseRig
from .rules import shot_findings
from .shot import ShotSpec

SHARED_FIELDS = ("rig", "lens_mm", "height")
"""What shots with one letter have in common."""


def shared_setups(
    shots: Mapping[int, ShotSpec],
) -> tuple[dict[int, ShotSpec], dict[int, list[Finding]]]:
    """Return shots that agree with those of their letter, and what does not.

    What one shot of a letter fixes holds for those that leave it open; what none of
    them fixes stays open, to be chosen for all of them together.

    Args:
        shots: checked shots by their index in the job.
    """
    agreed = dict(shots)
    clashes: dict[int, list[Finding]] = {}
    for group in _groups(shots):
        for field in SHARED_FIELDS:
            fixed = [k for k in group if field not in agreed[k].open_fields]
            for k, text in _differing(agreed, fixed or group, field):
                clashes.setdefault(k, []).append(((field,), text))
            for k in group if fixed else ():
                if field in agreed[k].open_fields:
                    agreed[k] = _closed(agreed[k], agreed[fixed[0]], field)
        for k in group:
            if agreed[k] is not shots[k]:
                broken = list(shot_findings(agreed[k], set()))
                clashes.setdefault(k, []).extend(broken)
    return agreed, clashes


def _groups(shots: Mapping[int, ShotSpec]) -> list[list[int]]:
    """Return the shots that share a letter in a scene, in their order."""
    groups: dict[tuple[str, str], list[int]] = {}
    for k, shot in shots.items():
        if shot.setup is not None:
            key = (shot.scene.lower(), shot.setup.lower())
            groups.setdefault(key, []).append(k)
    return list(groups.values())


def _differing(
    shots: Mapping[int, ShotSpec], group: list[int], field: str
) -> Iterator[tuple[int, str]]:
    """Yield the shots whose field is not that of the first of the group."""
    first = shots[group[0]]
    wanted = getattr(first, field)
    for k in group[1:]:
        value = getattr(shots[k], field)
        if value != wanted and not _open_alike(value, wanted):
            yield (
                k,
                f"is {_said(value)}, shots[{group[0]}] has {_said(wanted)}; shots of "
                f"setup {shown(first.setup)} share rig, lens and height",
            )


def _open_alike(one: Any, other: Any) -> bool:
    """Return whether two rigs to choose leave the same open."""
    both = isinstance(one, ChooseRig) and isinstance(other, ChooseRig)
    return both and (set(one.kinds), one.hold) == (set(other.kinds), other.hold)


def _said(value: Any) -> str:
    """Return a rig, lens or height in a few words."""
    if isinstance(value, float):
        return f"{value:g}"
    if value is None:
        return "that of its rig"
    if isinstance(value, ChooseRig):
        return f"to be chosen among {', '.join(value.kinds)}"
    return "another " + value.kind if hasattr(value, "kind") else str(value)


def _closed(shot: ShotSpec, fixed: ShotSpec, field: str) -> ShotSpec:
    """Return a shot with one field as another shot fixes it."""
    value = fixed.model_dump(by_alias=True, include={field})[field]
    return ShotSpec.model_validate({**shot.model_dump(by_alias=True), field: value})
