"""What the lens shows at one sample: the ground and the figures, as lines and shapes.

Points are on the delivered frame, u and v from -1 to 1 right and up, through the pose
with its shake. Figures are flat, face the lens, and stand at their true size; the rail
and the camera's own gear are not drawn.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
from scipy.spatial.transform import Rotation

from ...solver.action.body import EYES, LANDMARKS
from ...solver.arrays import FloatArray
from ...solver.frame.projection import flattened
from ..takes.bodies import read_bodies
from ..takes.curves import Curves

NEAR_M = 0.1
REACH_M = 20  # of the grid, around whom the camera follows
_COARSE_M = 5

# Shares of stature: how wide a trunk, a neck and a head are (our drawing, no source).
_TRUNK, _NECK, _HEAD_WIDE, _HEAD_HIGH = 0.11, 0.035, 0.05, 0.065


@dataclass(frozen=True, kw_only=True, slots=True)
class Figure:
    """A subject at every sample: name, stature [m], feet and eyes (n, 3) [m], Y up."""

    name: str
    height_m: float
    floor: FloatArray
    eyes: FloatArray


@dataclass(frozen=True, kw_only=True, slots=True)
class Shape:
    """A filled figure: its outlines, (k, 2) each, and how far away it is [m]."""

    name: str
    rings: tuple[FloatArray, ...]
    depth_m: float


@dataclass(frozen=True, kw_only=True, slots=True)
class SceneView:
    """A frame's picture.

    Attributes:
        fine: lines of the ground a metre apart, (k, 2, 2).
        coarse: every fifth of them.
        horizon: where the ground ends, (1, 2, 2), or none where it is out of sight.
        shapes: figures, the farthest first.
    """

    fine: FloatArray
    coarse: FloatArray
    horizon: FloatArray
    shapes: tuple[Shape, ...]


def figures_of(table: pa.Table, curves: Curves) -> tuple[Figure, ...]:
    """Return the subjects of a take in metres, Y up."""
    world = curves.world
    return tuple(
        Figure(
            name=body.name,
            height_m=body.height_m,
            floor=world.inside(body.floor),
            eyes=world.inside(body.eyes),
        )
        for body in read_bodies(table)
    )


def scene_view(curves: Curves, figures: Sequence[Figure], k: int) -> SceneView:
    """Return what the lens shows at sample `k`."""
    view = _View(curves, k)
    ground = min(float(one.floor[:, 1].min()) for one in figures)
    middle = figures[0].floor[k]
    fine, coarse = _grid(np.rint(middle[[0, 2]]), ground)
    shapes = [shape for one in figures if (shape := view.shape(one, k)) is not None]
    return SceneView(
        fine=view.lines(fine),
        coarse=view.lines(coarse),
        horizon=view.horizon(),
        shapes=tuple(sorted(shapes, key=lambda shape: -shape.depth_m)),
    )


class _View:
    """A pose and a lens, and what they make of points."""

    def __init__(self, curves: Curves, k: int) -> None:
        self.place = curves.place_m[k]
        self.turn = Rotation.from_quat(curves.turn[k]).as_matrix()
        gate = curves.gate
        self.tangents = np.array([gate.tan_u, gate.tan_v])
        self.axis_v = gate.axis_v

    def seen(self, points: FloatArray) -> FloatArray:
        """Return points in the camera's axes: right, up, back."""
        inside: FloatArray = (points - self.place) @ self.turn
        return inside

    def screen(self, seen: FloatArray) -> FloatArray:
        """Return where points in front of the lens are on the frame, (..., 2)."""
        u, v = flattened(*np.moveaxis(seen, -1, 0), *self.tangents)
        return np.stack([u, v + self.axis_v], axis=-1)

    def lines(self, ends: FloatArray) -> FloatArray:
        """Return lines (k, 2, 3) [m] on the frame, cut off close to the lens."""
        a, b = np.moveaxis(self.seen(ends), 1, 0)
        for one, other in ((a, b), (b, a)):
            behind = (-one[:, 2] < NEAR_M) & (-other[:, 2] > NEAR_M)
            p, q = one[behind], other[behind]
            share = (-NEAR_M - p[:, 2:]) / (q[:, 2:] - p[:, 2:])
            one[behind] = p + share * (q - p)
        ahead = (-a[:, 2] >= NEAR_M * 0.999) & (-b[:, 2] >= NEAR_M * 0.999)
        return self.screen(np.stack([a[ahead], b[ahead]], axis=1))

    def horizon(self) -> FloatArray:
        """Return the horizon where it crosses in front of the lens, (1, 2, 2)."""
        up = self.turn[1]  # world up in the camera's axes
        if abs(up[1]) < 1e-3:
            return np.empty((0, 2, 2))
        u = np.array([-3.0, 3.0])
        # Directions (u tx, y, -1) that are level: their product with up is zero.
        y = (up[2] - u * self.tangents[0] * up[0]) / up[1]
        v = y / self.tangents[1] + self.axis_v
        line: FloatArray = np.stack([u, v], axis=1)[None]
        return line

    def shape(self, figure: Figure, k: int) -> Shape | None:
        """Return a figure's outline; None where it reaches behind the lens."""
        floor, eyes = figure.floor[k], figure.eyes[k]
        toward = eyes - self.place
        level = float(np.hypot(toward[0], toward[2]))
        if level < NEAR_M:
            return None
        side = np.array([-toward[2], 0.0, toward[0]]) / level
        rings = []
        for ring in _outline(figure.height_m):
            points = floor + ring[:, :1] * (eyes - floor) / EYES + ring[:, 1:] * side
            seen = self.seen(points)
            if (-seen[:, 2] < NEAR_M).any():
                return None
            rings.append(self.screen(seen))
        depth = float(-self.seen(eyes)[2])
        return Shape(name=figure.name, rings=tuple(rings), depth_m=depth)


def _outline(height_m: float) -> Iterator[FloatArray]:
    """Yield rings of (share of stature from the floor, metres aside)."""
    shoulders = LANDMARKS["shoulders"]
    half = np.pi * np.arange(25) / 24
    arch = np.column_stack(
        [shoulders - _TRUNK * (1 - np.sin(half)), -_TRUNK * np.cos(half)]
    )
    chin = EYES - 0.055
    open_ = np.abs(arch[:, 1]) > 1.4 * _NECK  # where the neck leaves the shoulders
    low = shoulders + 0.01
    left = [(0.0, -_TRUNK / 2), *arch[:12][open_[:12]], (low, -_NECK), (chin, -_NECK)]
    right = [(chin, _NECK), (low, _NECK), *arch[13:][open_[13:]], (0.0, _TRUNK / 2)]
    yield np.array([*left, *right]) * [1.0, height_m]
    turn = 2 * np.pi * np.arange(48) / 48
    head = np.column_stack(
        [EYES + _HEAD_HIGH * np.sin(turn), _HEAD_WIDE * np.cos(turn)]
    )
    yield head * [1.0, height_m]


def _grid(middle: FloatArray, ground: float) -> tuple[FloatArray, FloatArray]:
    """Return the ground's lines a metre apart, and every fifth, (k, 2, 3) [m]."""
    steps = np.arange(-REACH_M, REACH_M + 1)
    fine: list[FloatArray] = []
    coarse: list[FloatArray] = []
    for axis in (0, 1):
        along = middle[1 - axis]
        for at in (middle[axis] + steps).tolist():
            ends = np.full((2, 3), ground)
            ends[:, 2 * axis] = at
            ends[:, 2 - 2 * axis] = along - REACH_M, along + REACH_M
            (coarse if at % _COARSE_M == 0 else fine).append(ends)
    return np.array(fine), np.array(coarse)
