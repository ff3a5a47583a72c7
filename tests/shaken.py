"""The final pose of a camera, by an outside library of rotations."""

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

FloatArray = NDArray[np.float64]


def turns(angles: FloatArray) -> Rotation:
    """Return Ry(pan) Rx(tilt) Rz(roll) of angles (3, n) [rad]."""
    return Rotation.from_euler("YXZ", angles.T)


def shaken(
    position: FloatArray, angles: FloatArray, shift: FloatArray, shakes: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the base, then shake in the camera's own axes.

    Args:
        position: of the base, (n, 3) [m].
        angles: pan, tilt and roll of the base, (3, n) [rad].
        shift: right, up and back in the base camera's axes, (n, 3) [m].
        shakes: pan, tilt and roll about the camera's own axes, (3, n) [rad].

    Returns:
        Position (n, 3) [m] and quaternions (n, 4), x, y, z, w, each in the hemisphere
        of the one before, the first with w >= 0.
    """
    base = turns(angles)
    turn = (base * turns(shakes)).as_quat()
    facing = np.sum(turn[1:] * turn[:-1], axis=1)
    flips = np.append(np.sign(turn[0, 3]), np.where(facing < 0.0, -1.0, 1.0))
    return position + base.apply(shift), turn * np.cumprod(flips)[:, None]
