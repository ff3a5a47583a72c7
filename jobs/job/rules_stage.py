"""What must hold inside a stage: a floor, boxes with an extent, a set to be read."""

from collections.abc import Iterator
from itertools import pairwise

import numpy as np

from ...solver.arrays import FloatArray
from ...solver.stage.outline import outline_margin
from .locations import Finding, Location, shown
from .shot import ShotSpec
from .stage import SET_SUFFIXES
from .subject import SCENE_SUFFIXES

BAKED = ".parquet"  # what `bake-set` makes of a scene

Corners = tuple[tuple[float, float], ...]
"""Of a polygon on the ground, scene units."""

# Of the floor's size: corners nearer than this to a line count as on it.
_FLAT = 1e-9


def floor_rules(shot: ShotSpec) -> Iterator[Finding]:
    """Yield what keeps the floor and its holes from being polygons."""
    floor, holes = shot.stage.floor, shot.stage.floor_holes
    if floor is None:
        if holes:
            yield ("stage", "floor_holes"), "needs a floor that they are holes of"
        return
    found = list(_polygon_rules(("stage", "floor"), floor))
    for k, hole in enumerate(holes):
        found += _polygon_rules(("stage", "floor_holes", k), hole)
    yield from found
    if found:
        return
    edge = np.array(floor, dtype=np.float64)
    size = np.abs(edge).max()
    for k, hole in enumerate(holes):
        off = outline_margin([edge / size], np.array(hole, dtype=np.float64) / size)
        if off.min() < 0:
            place = ("stage", "floor_holes", k, int(off.argmin()))
            yield place, "is outside the floor"


def _polygon_rules(place: Location, corners_of: Corners) -> Iterator[Finding]:
    """Yield what keeps corners from going once round an area."""
    name = str(place[-1])
    corners = np.array(corners_of, dtype=np.float64)
    corners /= np.abs(corners).max() or 1.0  # areas of huge numbers have no number
    corners -= corners.mean(axis=0)
    sides = np.roll(corners, -1, axis=0) - corners
    lengths = np.hypot(sides[:, 0], sides[:, 1])
    size = float(np.abs(corners).max())
    for k in np.flatnonzero(lengths <= _FLAT * size):
        twin = (int(k) + 1) % len(corners)
        yield (*place, twin), f"is the same corner as {name}[{k}]"
        return
    after = np.roll(sides, -1, axis=0)
    turns = sides[:, 0] * after[:, 1] - sides[:, 1] * after[:, 0]
    if np.abs(turns).max() <= _FLAT * size**2:
        yield place, "has no area, its corners stand in one line"
        return
    if _crosses_itself(corners):
        yield place, "crosses itself, its corners must go round once"


def _crosses_itself(corners: FloatArray) -> bool:
    """Tell whether two sides of a polygon meet that are not neighbours."""
    ends = np.roll(corners, -1, axis=0)
    n = len(corners)

    def turn(a: FloatArray, b: FloatArray, c: FloatArray) -> FloatArray:
        along, off = b - a, c - a
        out: FloatArray = along[..., 0] * off[..., 1] - along[..., 1] * off[..., 0]
        return out

    for k in range(n - 1):
        others = np.arange(k + 2, n if k else n - 1)
        p, q, r, s = corners[k], ends[k], corners[others], ends[others]
        one, two = turn(p, q, r), turn(p, q, s)
        three, four = turn(r, s, p), turn(r, s, q)
        if ((one * two < 0) & (three * four < 0)).any():
            return True
        if any(_on_side(corner, p, q) for corner in r):
            return True
    return False


def _on_side(point: FloatArray, start: FloatArray, end: FloatArray) -> bool:
    along, off = end - start, point - start
    square = float(along @ along)
    across = float(along[0] * off[1] - along[1] * off[0])
    return abs(across) <= _FLAT * square and 0.0 <= float(along @ off) <= square


def set_rules(shot: ShotSpec) -> Iterator[Finding]:
    """Yield what a set's kind of file does not know."""
    asked = shot.stage.set
    if asked is None:
        return
    place = ("stage", "set")
    if asked.suffix not in SET_SUFFIXES or "\0" in asked.file:
        listed = ", ".join(SET_SUFFIXES)
        message = f"must end in one of {listed}, got {shown(asked.file)}"
        yield (*place, "file"), message
    if asked.suffix not in SCENE_SUFFIXES:
        for name in ("units", "up"):
            if getattr(asked, name) is not None:
                yield (*place, name), "is only for OpenUSD scenes"
    if asked.suffix == BAKED:
        for name in ("prims", "wild"):
            if getattr(asked, name):
                yield (*place, name), "is for scenes; it was said when this was baked"


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
