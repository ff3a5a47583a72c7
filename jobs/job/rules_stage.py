"""What must hold inside a stage: a convex floor, and boxes with an extent."""

from collections.abc import Iterator
from itertools import pairwise

import numpy as np

from .locations import Finding, shown
from .shot import ShotSpec

# Of the floor's size: corners nearer than this to a line count as on it.
_FLAT = 1e-9


def floor_rules(shot: ShotSpec) -> Iterator[Finding]:
    """Yield what keeps the floor from being a convex polygon."""
    floor = shot.stage.floor
    if floor is None:
        return
    place = ("stage", "floor")
    corners = np.array(floor, dtype=np.float64)
    corners -= corners.mean(axis=0)
    sides = np.roll(corners, -1, axis=0) - corners
    lengths = np.hypot(sides[:, 0], sides[:, 1])
    size = float(np.abs(corners).max())
    for k in np.flatnonzero(lengths <= _FLAT * size):
        twin = (int(k) + 1) % len(floor)
        yield (*place, twin), f"is the same corner as floor[{k}]"
        return
    after = np.roll(sides, -1, axis=0)
    turns = sides[:, 0] * after[:, 1] - sides[:, 1] * after[:, 0]
    if np.abs(turns).max() <= _FLAT * size**2:
        yield place, "has no area, its corners stand in one line"
        return
    # The sign of the whole turn: one corner of the convex hull tells it.
    area = float(np.sum(corners[:, 0] * sides[:, 1] - corners[:, 1] * sides[:, 0]))
    wrong = np.flatnonzero(turns * np.sign(area) < -_FLAT * size**2)
    if len(wrong):
        corner = (int(wrong[0]) + 1) % len(floor)
        yield (*place, corner), "turns inward, the floor must be convex"
        return
    winding = np.arctan2(turns, np.sum(sides * after, axis=1)).sum() / (2 * np.pi)
    if abs(abs(winding) - 1) > 0.5:
        yield place, "crosses itself, its corners must go round once"


def keep_out_rules(shot: ShotSpec) -> Iterator[Finding]:
    """Yield boxes that share a name, and boxes that are flat in two directions."""
    seen: dict[str, str] = {}
    for k, box in enumerate(shot.stage.keep_outs):
        place = ("stage", "keep_outs", k)
        if seen.setdefault(box.name.lower(), box.name) is not box.name:
            message = f"{shown(box.name)} is already the name of another keep-out"
            yield (*place, "name"), message
        edges = sum(a != b for a, b in zip(box.from_, box.to, strict=True))
        if edges < 2:
            yield place, "from and to must differ along two axes at least"


def prop_rules(shot: ShotSpec) -> Iterator[Finding]:
    """Yield props that share a name with another, or with a keep-out."""
    seen = {box.name.lower() for box in shot.stage.keep_outs}
    for k, prop in enumerate(shot.stage.props):
        if prop.name.lower() in seen:
            message = f"{shown(prop.name)} is already the name of a keep-out or prop"
            yield ("stage", "props", k, "name"), message
        seen.add(prop.name.lower())


def stage_numbers(shot: ShotSpec) -> Iterator[Finding]:
    """Yield heights that fall, and radii that are listed twice."""
    heights = shot.stage.height_m
    if heights is not None and heights[0] > heights[1]:
        low, high = heights
        message = f"the highest must be >= the lowest, got {low:g} to {high:g} m"
        yield ("stage", "height_m"), message
    radii = sorted(shot.stage.curve_radius_m)
    for before, after in pairwise(radii):
        if before == after:
            yield ("stage", "curve_radius_m"), f"{after:g} m is there twice"
