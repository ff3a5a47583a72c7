"""Where on the body a camera looks: how far above and beside the expected point.

A camera holds a point of the body at a place on the screen. Both are unknown. Held
elsewhere on the screen its angles differ by a constant; aimed elsewhere on the body
they differ by an angle that shrinks with distance. So the two are told apart, and
fitted together with whatever is done to the aim, which is linear in all four.
"""

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from ..action.subject import Subject
from ..arrays import FloatArray
from ..optics.camera import aim
from .camera import CameraMove

N_LOOKS = 4
STEP_M, STEP_UV = 0.01, 0.01  # of the differences that give the derivatives
# What is known beforehand of (up, beside): their deviation [m]. It matters where
# nothing changes distance, and where a way leaves much, which goes on for so long.
PRIOR_M = 0.15
LASTS_S = 0.5
LEAST_ANGLE = 1e-4  # half frames that any way leaves
MOST_M, MOST_UV = 1.5, 2.0


class AimPoint(NamedTuple):
    """A point beside the expected one, and where on the screen it is held.

    Attributes:
        up: above the expected point [m].
        beside: right of it as the camera sees it, across the level line of sight [m].
        u: half frames right of the lens axis.
        v: half frames above the lens axis.
    """

    up: float = 0.0
    beside: float = 0.0
    u: float = 0.0
    v: float = 0.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Aimed:
    """Exact aim at a look, and its change with each of the look's numbers.

    `angles` (2, n) [rad]; `changes` (N_LOOKS, 2, n) [rad/m, rad/half frame].
    """

    look: AimPoint
    angles: FloatArray
    changes: FloatArray


def moved_points(points: FloatArray, place: FloatArray, look: AimPoint) -> FloatArray:
    """Return the points that a look means, (n, 3) [m].

    Args:
        points: the expected ones, (n, 3) [m].
        place: of the lens, (n, 3) [m].
        look: how far beside them.
    """
    x, z = (points - place)[:, 0], (points - place)[:, 2]
    level = np.maximum(np.hypot(x, z), 1e-9)
    out: FloatArray = points + np.column_stack(
        [-z / level * look.beside, np.full(len(x), look.up), x / level * look.beside]
    )
    return out


def exact_aim(
    camera: CameraMove, points: FloatArray, place: FloatArray, look: AimPoint
) -> FloatArray:
    """Return the pan and tilt that hold a look exactly, (2, n) [rad].

    Args:
        camera: gives the lens and the roll; pan is unwrapped towards its own.
        points: the expected points of the body, (n, 3) [m].
        place: where the lens is, (n, 3) [m].
        look: what is held beside them, and where on the screen.
    """
    tx, ty = camera.tangents
    roll = float(np.median(camera.roll))
    towards = moved_points(points, place, look) - place
    pan, tilt, _ = aim(towards, look.u, look.v, roll, tx, ty)
    pan = np.unwrap(pan)
    turns = np.round(np.median(camera.pan - pan) / (2 * np.pi))
    return np.stack([pan + 2 * np.pi * turns, tilt])


def aimed(
    camera: CameraMove, points: FloatArray, place: FloatArray, look: AimPoint
) -> Aimed:
    """Return exact aim at a look with its derivatives; arguments as `exact_aim`."""
    angles = exact_aim(camera, points, place, look)
    steps = (STEP_M, STEP_M, STEP_UV, STEP_UV)
    changes = []
    for k, step in enumerate(steps):
        values = list(look)
        values[k] += step
        moved = exact_aim(camera, points, place, AimPoint(*values))
        changes.append((moved - angles) / step)
    return Aimed(look=look, angles=angles, changes=np.array(changes))


def fitted_look(
    camera: CameraMove, inside: slice, here: Aimed, passed: FloatArray
) -> tuple[AimPoint, FloatArray]:
    """Return the look with which a way explains a camera best, and the way's curves.

    Args:
        camera: what is explained.
        inside: the samples that are compared.
        here: exact aim about which the look is sought.
        passed: what the way makes of its angles and changes, (1 + N_LOOKS, 2, n) [rad].

    Returns:
        The look and pan and tilt (2, n) [rad], by least squares, linear about `here`.
    """
    half = camera.half[:, None]
    off = ((camera.angles - passed[0]) / half)[:, inside].ravel()
    columns = (passed[1:] / half)[:, :, inside].reshape(N_LOOKS, -1)
    normal = columns @ columns.T + 1e-12 * np.eye(N_LOOKS)
    right = columns @ off
    alike = max(1.0, LASTS_S * camera.rate_hz)
    most = np.array([MOST_M, MOST_M, MOST_UV, MOST_UV])
    about, values = np.array(here.look), np.array(here.look)
    known = np.array([1.0, 1.0, 0.0, 0.0]) / PRIOR_M**2
    for _ in range(3):
        left = off - (values - about) @ columns
        weight = known * alike * (LEAST_ANGLE**2 + float(np.mean(left**2)))
        step = np.linalg.solve(normal + np.diag(weight), right - weight * about)
        values = np.clip(about + step, -most, most)
    move = values - about
    curves: FloatArray = passed[0] + np.tensordot(move, passed[1:], axes=1)
    return AimPoint(*map(float, values)), curves


def looked_at(camera: CameraMove, subject: Subject, look: AimPoint) -> Subject:
    """Return the subject as if its expected point were the one that is looked at.

    Args:
        camera: from whose places it is beside; read linearly between its samples.
        subject: whom it shows.
        look: how far beside; where on the screen does not matter.
    """
    place = np.column_stack(
        [np.interp(subject.times_s, camera.times_s, c) for c in camera.place.T]
    )
    off = moved_points(subject.floor, place, look) - subject.floor
    return replace(subject, floor=subject.floor + off, eyes=subject.eyes + off)
