"""The camera: film back, used gate, pose, projection and aiming.

The camera looks down its own -Z with +Y up and +X right, the convention of
glTF 2.0 and OpenUSD. Its world-from-camera rotation is

    R = Ry(pan) Rx(tilt) Rz(roll)

so pan 0 looks along -Z, positive pan turns left (counter-clockwise seen from
above), positive tilt looks up and positive roll turns the camera
counter-clockwise seen from behind it. A screen point (u, v) runs from -1 to 1,
right and up: u = x / (-z tx), v = y / (-z ty), with tx and ty the tangents of
half the angles of view. Angles are radians and may be arrays of shape (n,) or
scalars.
"""

import math
from dataclasses import dataclass

import numpy as np

from ..arrays import BoolArray, FloatArray

# Width and height of the camera aperture [mm].
FILM_BACKS: dict[str, tuple[float, float]] = {
    # 0.980 x 0.735 in, SMPTE ST 59 style C (standard number from memory).
    "super35-4perf": (24.89, 18.66),
    # Width of the 4-perf back; height from memory, inside the 14.25 mm pulldown.
    "super35-3perf": (24.89, 14.00),
    # 0.864 x 0.630 in, SMPTE ST 59 style A (from memory; also given as 22.0 x 16.0).
    "academy": (21.95, 16.00),
    # 0.864 x 0.732 in, SMPTE ST 59 style B, for a 2x squeeze (from memory).
    "anamorphic-4perf": (21.95, 18.60),
    # 135 still frame, ISO 1007 (standard number from memory).
    "full-frame": (36.00, 24.00),
    # 0.493 x 0.292 in, SMPTE ST 201 (from memory).
    "super16": (12.52, 7.41),
    # 0.404 x 0.295 in, SMPTE ST 7 (from memory).
    "16mm": (10.26, 7.49),
    # 2.066 x 0.906 in, SMPTE ST 215 (from memory).
    "65mm-5perf": (52.48, 23.01),
    # 1.485 x 0.981 in, film running horizontally (from memory).
    "35mm-8perf": (37.72, 24.92),
}


@dataclass(frozen=True, slots=True)
class Gate:
    """The part of the film back that is delivered.

    `width_mm` and `height_mm` are measured on the film, before desqueezing.
    `overscan` widens what is rendered, never what framing is judged by.
    `axis_v` is the height of the lens axis in the delivered frame: 0 for a
    centred extraction, negative where the frame is taken from the top of the
    back. `project` and `aim` count v from the axis, so a point's height in the
    delivered frame is v + axis_v.
    """

    width_mm: float
    height_mm: float
    squeeze: float = 1.0
    overscan: float = 1.0
    axis_v: float = 0.0

    @property
    def aspect(self) -> float:
        """Width over height of the desqueezed picture."""
        return self.squeeze * self.width_mm / self.height_mm

    def half_tangents(self, focal_mm: float) -> tuple[float, float]:
        """Return (tx, ty), the tangents of half the angles of view.

        Args:
            focal_mm: marked focal length [mm], > 0; thin lens at infinity.
        """
        return (
            self.squeeze * self.width_mm / (2.0 * focal_mm),
            self.height_mm / (2.0 * focal_mm),
        )

    def overscanned(self, focal_mm: float) -> tuple[float, float]:
        """Return the half tangents of the picture with its overscan."""
        tx, ty = self.half_tangents(focal_mm)
        return tx * self.overscan, ty * self.overscan

    def angles_of_view(self, focal_mm: float) -> tuple[float, float]:
        """Return the horizontal and vertical angle of view [rad]."""
        tx, ty = self.half_tangents(focal_mm)
        return 2.0 * math.atan(tx), 2.0 * math.atan(ty)


def used_gate(
    back_width_mm: float,
    back_height_mm: float,
    *,
    aspect: float,
    squeeze: float = 1.0,
    overscan: float = 1.0,
    extraction: str = "centre",
) -> Gate:
    """Crop a film back to the delivered aspect, in desqueezed space.

    The largest area of the asked aspect that the back holds:
    width min(w, aspect h / squeeze), height min(h, squeeze w / aspect).

    Args:
        back_width_mm: width of the back on the film [mm].
        back_height_mm: height of the back [mm].
        aspect: width over height as delivered.
        squeeze: horizontal squeeze of the lens, 2 for classic anamorphic.
        overscan: factor on the rendered half tangents, >= 1.
        extraction: "centre", or "common_top": the frame keeps the back's top.
    """
    width_mm = min(back_width_mm, aspect * back_height_mm / squeeze)
    height_mm = min(back_height_mm, squeeze * back_width_mm / aspect)
    spare = (back_height_mm - height_mm) / height_mm
    return Gate(
        width_mm=width_mm,
        height_mm=height_mm,
        squeeze=squeeze,
        overscan=overscan,
        axis_v=-spare if extraction == "common_top" else 0.0,
    )


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
    depth = -z
    ahead = depth > 0.0
    safe = np.where(ahead, depth, 1.0)
    u = np.where(ahead, x / (safe * tx), np.copysign(np.inf, x))
    v = np.where(ahead, y / (safe * ty), np.copysign(np.inf, y))
    return u, v, depth


def aim(
    direction: FloatArray,
    u: FloatArray | float,
    v: FloatArray | float,
    roll: FloatArray | float,
    tx: FloatArray | float,
    ty: FloatArray | float,
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Return the pan and tilt that put a world direction at (u, v).

    With c = Rz(roll) normalise(u tx, v ty, -1) the asked ray in the untilted
    camera, R maps c to d only if Rx(tilt) c has the height of d:

        rho = hypot(cy, cz),  tilt = asin(dy / rho) - atan2(cy, -cz)

    and pan is then the angle between the horizontal parts of Rx(tilt) c and d.
    |dy| > rho has no solution: a point this high cannot stand so far to the
    side of the frame. There tilt is the nearest possible one.

    Args:
        direction: from the camera to the point, (n, 3), any length > 0.
        u: asked place on the screen, -1 to 1 to the right, (n,) or scalar.
        v: asked place upwards, counted from the lens axis, (n,) or scalar.
        roll: (n,) or scalar [rad].
        tx: tangent of half the horizontal angle of view.
        ty: tangent of half the vertical angle of view.

    Returns:
        pan in [-pi, pi], tilt [rad], and whether the aim is exact, each (n,).

    Source: our derivation; round trips in tests/solver/optics/test_camera.py.
    """
    dx, dy, dz = np.moveaxis(np.asarray(direction), -1, 0)
    dy = dy / np.sqrt(dx * dx + dy * dy + dz * dz)
    ray_x, ray_y = np.multiply(u, tx), np.multiply(v, ty)
    norm = np.sqrt(ray_x * ray_x + ray_y * ray_y + 1.0)
    cos_roll, sin_roll = np.cos(roll), np.sin(roll)
    cx = (cos_roll * ray_x - sin_roll * ray_y) / norm
    cy = (sin_roll * ray_x + cos_roll * ray_y) / norm
    cz = -1.0 / norm
    rho = np.hypot(cy, cz)
    # asin(dy / rho) by arctan2: arcsin has other last bits on other vector units.
    level = np.sqrt(np.maximum((rho - dy) * (rho + dy), 0.0))
    tilt = np.arctan2(dy, level) - np.arctan2(cy, -cz)
    ez = np.sin(tilt) * cy + np.cos(tilt) * cz
    pan = np.arctan2(dx * ez - dz * cx, dx * cx + dz * ez)
    return pan, tilt, np.abs(dy) <= rho


def rotation(
    pan: FloatArray | float, tilt: FloatArray | float, roll: FloatArray | float
) -> FloatArray:
    """Return the world-from-camera matrices Ry(pan) Rx(tilt) Rz(roll), (n, 3, 3)."""
    pan, tilt, roll = np.broadcast_arrays(*np.atleast_1d(pan, tilt, roll))
    cp, sp = np.cos(pan), np.sin(pan)
    ct, st = np.cos(tilt), np.sin(tilt)
    cr, sr = np.cos(roll), np.sin(roll)
    rows = [
        [cp * cr + sp * st * sr, sp * st * cr - cp * sr, sp * ct],
        [ct * sr, ct * cr, -st],
        [cp * st * sr - sp * cr, sp * sr + cp * st * cr, cp * ct],
    ]
    return np.ascontiguousarray(np.moveaxis(np.array(rows), -1, 0))


def quaternion(
    pan: FloatArray | float, tilt: FloatArray | float, roll: FloatArray | float
) -> FloatArray:
    """Return the world-from-camera unit quaternions, (n, 4) as x, y, z, w.

    Consecutive quaternions lie in one hemisphere, so that interpolating them
    takes the short way; the first has w >= 0.
    """
    return _sign_continuous(_half_angle(pan, tilt, roll))


def _half_angle(
    pan: FloatArray | float, tilt: FloatArray | float, roll: FloatArray | float
) -> FloatArray:
    """Return qy(pan) qx(tilt) qz(roll), (n, 4), of either sign."""
    pan, tilt, roll = np.broadcast_arrays(*np.atleast_1d(pan, tilt, roll))
    cp, sp = np.cos(0.5 * pan), np.sin(0.5 * pan)
    ct, st = np.cos(0.5 * tilt), np.sin(0.5 * tilt)
    cr, sr = np.cos(0.5 * roll), np.sin(0.5 * roll)
    parts = [
        cp * st * cr + sp * ct * sr,
        sp * ct * cr - cp * st * sr,
        cp * ct * sr - sp * st * cr,
        cp * ct * cr + sp * st * sr,
    ]
    return np.stack(parts, axis=1)


def _sign_continuous(turns: FloatArray) -> FloatArray:
    """Flip quaternions (n, 4) into the hemisphere of the one before."""
    signs = np.ones(len(turns))
    signs[:1] = np.where(turns[:1, 3] < 0.0, -1.0, 1.0)
    facing = np.sum(turns[1:] * turns[:-1], axis=1)
    signs[1:] = np.where(facing < 0.0, -1.0, 1.0)
    return turns * np.cumprod(signs)[:, None]
