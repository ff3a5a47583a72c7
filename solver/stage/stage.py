"""The stage: where the dolly may stand, what is in its way, and what stock there is.

Metres, Y up; the ground plane is (x, z). The floor is a polygon, with holes where it
has any; its convex hull has a row n . p <= b an edge, with n the unit normal that
points out. A keep-out is an upright box, the set a mesh of triangles. A rail
is kept out of a box's footprint unless the box hangs wholly above the lens; a sight
line is hidden where the segment from lens to target meets the box.
"""

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from ..arrays import BoolArray, FloatArray, frozen
from ..compiled.kernel import kernel
from ..errors import SolverError
from .outline import off_floor_boxes, outline_margin

if TYPE_CHECKING:  # kernels that only know boxes are not made anew with a set's
    from ..sight.set_mesh import SetMesh

DEFAULT_HEIGHT_M = (0.3, 2.6)  # of lenses on usual rigs; common practice, no source
_TALL_M = 1e6  # of a box that no lens is over
_CONVEX = 1e-9  # turn of an edge, relative to the squared size, still called convex


def _no_boxes() -> FloatArray:
    return np.empty((0, 2, 3))


@dataclass(frozen=True, kw_only=True, slots=True)
class Stage:
    """What a set or location allows.

    Attributes:
        floor: convex polygon on the ground, (k, 2) [m], k >= 3, either way round; None
            where nothing bounds it.
        outline: where the floor is not convex or has holes its edge, and then each
            hole's, (k, 2) [m]; `floor` is its convex hull. Empty: the floor itself.
        keep_outs: boxes, (m, 2, 3) [m]: two opposite corners each.
        names: of the boxes, m.
        sight_forbidden: whether a sight line through the box breaks a setup, (m,);
            elsewhere hidden frames are only counted.
        heights: lowest and highest lens [m].
        straight_m: section of straight track [m]; None: any length.
        curve_radii_m: radii of curved track [m]; empty: any.
        min_distance_m: the lens's least horizontal distance to a subject [m].
        ground_m: height of the ground [m].
        set: walls, doorways and furniture; None where there are none.
        forbids_sight: whether a setup breaks in which the set or a person hides who is
            followed; else hidden frames are only counted.
    """

    floor: FloatArray | None = None
    keep_outs: FloatArray = field(default_factory=_no_boxes)
    names: tuple[str, ...] = ()
    sight_forbidden: BoolArray = field(default_factory=lambda: np.zeros(0, np.bool_))
    heights: tuple[float, float] = (-np.inf, np.inf)
    straight_m: float | None = None
    curve_radii_m: tuple[float, ...] = ()
    min_distance_m: float = 1.5
    outline: tuple[FloatArray, ...] = ()
    ground_m: float = 0.0
    set: "SetMesh | None" = None
    forbids_sight: bool = False

    def __post_init__(self) -> None:
        """Freeze the arrays, order the corners, and refuse what is no stage."""
        boxes = np.asarray(self.keep_outs, dtype=np.float64).reshape(-1, 2, 3)
        object.__setattr__(self, "keep_outs", frozen(np.sort(boxes, axis=1)))
        sight = frozen(self.sight_forbidden, dtype=np.bool_)
        object.__setattr__(self, "sight_forbidden", sight)
        if not len(boxes) == len(self.names) == len(sight):
            message = (
                f"keep_outs: {len(boxes)} boxes need as many names and sight flags, "
                f"got {len(self.names)} and {len(sight)}"
            )
            raise SolverError(message)
        if not self.heights[0] <= self.heights[1]:
            message = f"heights: must rise, got {self.heights}"
            raise SolverError(message)
        if self.floor is not None:
            object.__setattr__(self, "floor", frozen(_convex(self.floor)))
        rings = tuple(frozen(ring) for ring in self.outline)
        object.__setattr__(self, "outline", rings)


def floor_rows(stage: Stage) -> tuple[FloatArray, FloatArray]:
    """Return outward unit normals (k, 2) and bounds (k,) [m] of the floor's edges."""
    if stage.floor is None:
        return np.empty((0, 2)), np.empty(0)
    along = np.roll(stage.floor, -1, axis=0) - stage.floor
    normals = np.column_stack((along[:, 1], -along[:, 0]))
    normals /= np.hypot(normals[:, 0], normals[:, 1])[:, None]
    return normals, np.einsum("kc,kc->k", normals, stage.floor)


def floor_margin(stage: Stage, points: FloatArray) -> FloatArray:
    """Return signed distances of (n, 2) to the floor's edge, inside positive, (n,).

    Infinite where no floor is given.
    """
    if stage.floor is None:
        return np.full(len(points), np.inf)
    if stage.outline:
        return outline_margin(stage.outline, points)
    normals, bounds = floor_rows(stage)
    inside: FloatArray = (bounds - points @ normals.T).min(axis=1)
    along = np.roll(stage.floor, -1, axis=0) - stage.floor
    square = np.einsum("kc,kc->k", along, along)
    off = points[:, None, :] - stage.floor
    share = np.clip(np.einsum("nkc,kc->nk", off, along) / square, 0.0, 1.0)
    gap = off - share[:, :, None] * along
    outside = np.hypot(gap[..., 0], gap[..., 1]).min(axis=1)
    return np.where(inside >= 0.0, inside, -outside)


def with_floor_boxed(stage: Stage) -> Stage:
    """Return a stage with boxes where its floor has holes or notches.

    Laying knows a floor by its hull and boxes; what it gives is judged by the floor.
    """
    boxes = off_floor_boxes(stage.outline) if stage.outline else []
    if not boxes:
        return stage
    upright = np.empty((len(boxes), 2, 3))
    upright[:, 0, 1], upright[:, 1, 1] = -_TALL_M, _TALL_M
    upright[:, :, ::2] = boxes
    return replace(
        stage,
        keep_outs=np.concatenate([stage.keep_outs, upright]),
        names=(*stage.names, *(f"off_floor{k}" for k in range(len(boxes)))),
        sight_forbidden=np.append(
            stage.sight_forbidden, np.zeros(len(boxes), dtype=np.bool_)
        ),
    )


def rail_crosses(
    stage: Stage, places: FloatArray, clearance_m: float = 0.0
) -> BoolArray:
    """Return which boxes a polyline of lens places runs through, (m,).

    Args:
        stage: with the boxes.
        places: (n, 3) [m], n >= 1; the stand below each is part of the rail.
        clearance_m: by which every box's footprint is widened on all sides [m].
    """
    boxes = stage.keep_outs.copy()
    boxes[:, 0, ::2] -= clearance_m
    boxes[:, 1, ::2] += clearance_m
    boxes[:, 1, 1] = np.inf
    line = np.array(places, dtype=np.float64)  # not frozen: compiled once
    start, end = (line[:-1], line[1:]) if len(line) > 1 else (line, line)
    hits = np.empty((len(start), len(boxes)), np.bool_)
    segments_meet(start, end, boxes, hits)
    crossed: BoolArray = np.any(hits, axis=0)
    return crossed


def hidden_by(stage: Stage, camera: FloatArray, target: FloatArray) -> BoolArray:
    """Return which box hides which sight line, (n, m).

    Args:
        stage: with the boxes.
        camera: lens places, (n, 3) [m].
        target: what is looked at, (n, 3) [m].
    """
    hits = np.empty((len(camera), len(stage.keep_outs)), np.bool_)
    segments_meet(
        np.array(camera, dtype=np.float64, order="C"),
        np.array(target, dtype=np.float64, order="C"),
        stage.keep_outs.copy(),
        hits,
    )
    return hits


def sight_hidden(stage: Stage, camera: FloatArray, target: FloatArray) -> BoolArray:
    """Return which sight lines, (n, 3) to (n, 3) [m], any box hides, (n,)."""
    hidden: BoolArray = np.any(hidden_by(stage, camera, target), axis=1)
    return hidden


def room_m(stage: Stage, targets: FloatArray) -> float:
    """Return how far from (n, 3) targets the floor lets a camera stand [m]."""
    if stage.floor is None:
        return float("inf")
    off = targets[:, None, [0, 2]] - stage.floor
    return float(np.hypot(off[..., 0], off[..., 1]).max())


def _convex(corners: FloatArray) -> FloatArray:
    """Return the polygon with positive area in (x, z), no corner twice, or refuse."""
    polygon = np.asarray(corners, dtype=np.float64)
    polygon = polygon[np.any(polygon != np.roll(polygon, 1, axis=0), axis=1)]
    if len(polygon) < 3:
        message = f"floor: needs 3 corners, got {len(polygon)}"
        raise SolverError(message)
    x, z = polygon.T
    area = 0.5 * float(np.sum(x * np.roll(z, -1) - z * np.roll(x, -1)))
    polygon = polygon if area > 0.0 else polygon[::-1]
    along = np.roll(polygon, -1, axis=0) - polygon
    after = np.roll(along, -1, axis=0)
    turn = along[:, 0] * after[:, 1] - along[:, 1] * after[:, 0]
    heading = np.arctan2(turn, np.einsum("kc,kc->k", along, after))
    # A star turns the same way at every corner too, but more than once round.
    once = abs(float(heading.sum()) - 2 * np.pi) < 1e-6
    if not once or turn.min() < -_CONVEX * abs(area) or abs(area) < _CONVEX:
        message = "floor: must be a convex polygon with an area"
        raise SolverError(message)
    return polygon


@kernel
def segments_meet(start, end, boxes, hits):
    """Fill hits (n, m): whether segment i and box j share a point.

    The slab method, exact but for rounding: the box is where all three intervals of
    the segment's parameter overlap. Boxes (m, 2, 3) are lower and upper corners; a
    bound may be infinite.
    """
    for i in range(start.shape[0]):
        for j in range(boxes.shape[0]):
            low, high = 0.0, 1.0
            for axis in range(3):
                p = start[i, axis]
                d = end[i, axis] - p
                if d == 0.0:
                    if p < boxes[j, 0, axis] or p > boxes[j, 1, axis]:
                        high = -1.0
                    continue
                a = (boxes[j, 0, axis] - p) / d
                b = (boxes[j, 1, axis] - p) / d
                low = max(low, min(a, b))
                high = min(high, max(a, b))
            hits[i, j] = low <= high
