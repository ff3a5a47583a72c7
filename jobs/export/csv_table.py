"""A take as a table of text (CSV).

Lines that begin with `#` say what the columns are: units, axes, and the order in
which the angles turn. The numbers are those of the take, in the scene's axes and
units, and read back to the last bit.
"""

from io import StringIO
from typing import Any

import numpy as np
import pyarrow as pa
from scipy.spatial.transform import Rotation

from ...solver.arrays import FloatArray
from ..job.rate import rate_text
from ..takes.curves import Curves

# Numbers in the names are the order of turning, each about the axes turned so far.
BASE_ANGLES = ("turn_1_pan_deg", "turn_2_tilt_deg", "turn_3_roll_deg")
FINAL_ANGLES = ("cam_turn_1_pan_deg", "cam_turn_2_tilt_deg", "cam_turn_3_roll_deg")
_SHAKE = tuple(f"shake_{name}_deg" for name in ("pan", "tilt", "roll"))


def csv_text(curves: Curves, table: pa.Table) -> str:
    """Return a take as comma-separated text, one line a sample.

    Args:
        curves: the take.
        table: the same, in scene axes and units.
    """
    columns = _columns(curves, table)
    out = StringIO()
    for line in _header(curves):
        out.write(f"# {line}\n")
    out.write(",".join(columns) + "\n")
    for row in zip(*columns.values(), strict=True):
        out.write(",".join(map(repr, row)) + "\n")
    return out.getvalue()


def final_angles_deg(curves: Curves) -> FloatArray:
    """Return pan, tilt and roll of the pose with shake, unwrapped, (n, 3) [deg]."""
    angles = Rotation.from_quat(curves.turn).as_euler("YXZ")
    near = np.radians(curves.pan_deg)
    # The turn itself is only known to whole revolutions; the base pose says which.
    angles[:, 0] += 2 * np.pi * np.rint((near - angles[:, 0]) / (2 * np.pi))
    degrees: FloatArray = np.degrees(angles)
    return degrees


def _columns(curves: Curves, table: pa.Table) -> dict[str, list[Any]]:
    names = [
        *("frame", "sub", "time_s"),
        *("x", "y", "z"),
        *("shake_x_m", "shake_y_m", "shake_z_m", *_SHAKE),
        *("cam_x", "cam_y", "cam_z", "qx", "qy", "qz", "qw"),
        *("focal_mm", "focus_m", "stop", "rail_m"),
    ]
    columns = {name: table[name].to_pylist() for name in names}
    base = [curves.pan_deg, curves.tilt_deg, curves.roll_deg]
    final = final_angles_deg(curves).T
    for angles, values in ((BASE_ANGLES, base), (FINAL_ANGLES, final)):
        columns |= {
            name: row.tolist() for name, row in zip(angles, values, strict=True)
        }
    order = [
        *names[:6],
        *BASE_ANGLES,
        *names[6:15],
        *FINAL_ANGLES,
        *names[15:],
    ]
    return {name: columns[name] for name in order}


def _header(curves: Curves) -> list[str]:
    world, gate = curves.world, curves.gate
    up = world.up.upper()
    zero = "-Z" if world.up == "y" else "+Y"
    return [
        f"sequence {curves.sequence}, shot {curves.shot}, take {curves.take_key}",
        f"rate {rate_text(curves.rate)} frames a second; cut {curves.cut[0]} to "
        f"{curves.cut[1]}; time_s is 0 at frame 0",
        f"axes right-handed, {up} up; 1 unit is {world.metres_per_unit:g} m; "
        "names that end in a unit are in it, x y z cam_x cam_y cam_z in scene units",
        f"the camera looks down its own -Z, +Y up; at angles 0 it looks along {zero}",
        f"Euler order: 1 pan about {up}, 2 tilt about the camera's X so turned, 3 roll "
        "about the camera's Z so turned (intrinsic); counter-clockwise is positive",
        "turn_*: without shake; cam_*: with it; qx qy qz qw: with it, scene of camera",
        f"gate {gate.width_mm:.6g} x {gate.height_mm:.6g} mm on the film, "
        f"squeeze {gate.squeeze:g}, overscan {gate.overscan:g}, lens axis at "
        f"{gate.axis_v:.6g} half frame heights over the frame's centre",
    ]
