"""Where a point of the world is on the screen: the one projection that all read.

`optics.camera` defines the axes. Places on the screen are half frames, u to the right
and v up; behind the lens they are infinite, so that no comparison takes such a point
for one in frame. Kernels work on one point, `project` and `flattened` on arrays.
"""

from typing import NamedTuple

import numpy as np

from ..arrays import FloatArray
from ..compiled.kernel import kernel
from ..elementary.arrays import sines_cosines
from ..elementary.length import hypot
from ..elementary.trigonometry import sin_cos
from ..shake import ShakeTrack


class Screen(NamedTuple):
    """How a lens fills the frame.

    `tx` and `ty` are the tangents of half the angles of view, `axis_v` the height of
    the lens axis in the delivered frame [half frames].
    """

    tx: float
    ty: float
    axis_v: float


class Shaking(NamedTuple):
    """The shake as kernels read it, a row a sample.

    `shift` (n, 3) is right, up and back [m]; `turns` (n, 6) has cosine and sine of pan,
    tilt and roll, as `turn_of` returns them.
    """

    shift: FloatArray
    turns: FloatArray


def shaking_of(track: ShakeTrack) -> Shaking:
    """Return a shake as kernels read it."""
    angles = np.stack([track.pan, track.tilt, track.roll], axis=1)
    sines, cosines = sines_cosines(angles)
    turns = np.stack([cosines, sines], axis=2)
    return Shaking(track.xyz, turns.reshape(len(angles), 6))


@kernel
def turn_of(pan, tilt, roll):
    """Return cosine and sine of pan, tilt and roll."""
    sp, cp = sin_cos(pan)
    st, ct = sin_cos(tilt)
    sr, cr = sin_cos(roll)
    return cp, sp, ct, st, cr, sr


@kernel
def in_axes(x, y, z, turn):
    """Return a vector in the axes of a camera that stands turned: right, up, back."""
    x, z = turn[0] * x - turn[1] * z, turn[1] * x + turn[0] * z
    y, z = turn[2] * y + turn[3] * z, turn[2] * z - turn[3] * y
    x, y = turn[4] * x + turn[5] * y, turn[4] * y - turn[5] * x
    return x, y, z


@kernel
def from_lens(point, place, turn):
    """Return a point (x, y, z) of the world in the axes of the camera at `place`."""
    return in_axes(point[0] - place[0], point[1] - place[1], point[2] - place[2], turn)


@kernel
def shake_at(shaking, i):
    """Return by how much the shake shifts and turns the lens at a sample: numbers."""
    shift, turns = shaking.shift, shaking.turns
    turn = (
        turns[i, 0],
        turns[i, 1],
        turns[i, 2],
        turns[i, 3],
        turns[i, 4],
        turns[i, 5],
    )
    return (shift[i, 0], shift[i, 1], shift[i, 2]), turn


@kernel
def shaken(seen, shaking, i):
    """Return a point in the axes of the base camera in those of the shaken one."""
    shift, turn = shake_at(shaking, i)
    return from_lens(seen, shift, turn)


@kernel
def on_screen(x, y, z, screen):
    """Return u and v in the delivered frame of a point in the camera's axes."""
    depth = -z
    if depth > 0.0:
        return x / (depth * screen.tx), y / (depth * screen.ty) + screen.axis_v
    return np.copysign(np.inf, x), np.copysign(np.inf, y)


@kernel
def span_on_screen(top, low, screen):
    """Return the size of a span, and how far out of the frame's middle it reaches.

    `top` and `low` are its ends in the camera's axes. The size is a share of the frame
    height; a span that reaches behind the lens has none (NaN) and reaches infinitely
    far.
    """
    top_u, top_v = on_screen(top[0], top[1], top[2], screen)
    low_u, low_v = on_screen(low[0], low[1], low[2], screen)
    furthest = max(max(abs(top_u), abs(top_v)), max(abs(low_u), abs(low_v)))
    if furthest == np.inf:
        return np.nan, furthest
    wide = (top_u - low_u) * screen.tx / screen.ty
    return hypot(wide, top_v - low_v) / 2, furthest


def flattened(
    x: FloatArray,
    y: FloatArray,
    z: FloatArray,
    tx: FloatArray | float,
    ty: FloatArray | float,
) -> tuple[FloatArray, FloatArray]:
    """Return u and v, counted from the lens axis, of points in the camera's axes.

    Args:
        x: to the right, (n,) [m].
        y: up, (n,) [m].
        z: back, (n,) [m].
        tx: tangent of half the horizontal angle of view.
        ty: tangent of half the vertical angle of view.
    """
    ahead = z < 0.0
    depth = np.where(ahead, -z, 1.0)
    u = np.where(ahead, x / (depth * tx), np.copysign(np.inf, x))
    v = np.where(ahead, y / (depth * ty), np.copysign(np.inf, y))
    return u, v


def project(
    points: FloatArray,
    position: FloatArray,
    pan: FloatArray | float,
    tilt: FloatArray | float,
    roll: FloatArray | float,
    tx: FloatArray | float,
    ty: FloatArray | float,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Project world points to the screen.

    Args:
        points: (n, 3) [m].
        position: of the camera, (n, 3) or (3,) [m].
        pan: (n,) or scalar [rad].
        tilt: (n,) or scalar [rad].
        roll: (n,) or scalar [rad].
        tx: tangent of half the horizontal angle of view.
        ty: tangent of half the vertical angle of view.

    Returns:
        u, v and depth along the lens axis [m], each (n,). At depth <= 0 the
        point is not in front of the lens, and u and v are infinite, so that no
        comparison can take it for a point in frame.
    """
    x, y, z = np.moveaxis(np.asarray(points) - position, -1, 0)
    cos_pan, sin_pan = np.cos(pan), np.sin(pan)
    cos_tilt, sin_tilt = np.cos(tilt), np.sin(tilt)
    cos_roll, sin_roll = np.cos(roll), np.sin(roll)
    x, z = cos_pan * x - sin_pan * z, sin_pan * x + cos_pan * z
    y, z = cos_tilt * y + sin_tilt * z, cos_tilt * z - sin_tilt * y
    x, y = cos_roll * x + sin_roll * y, cos_roll * y - sin_roll * x
    u, v = flattened(x, y, z, tx, ty)
    return u, v, -z
