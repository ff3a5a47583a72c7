"""Takes as text: what the header says is what the numbers do."""

import csv

import numpy as np
import pytest
from export_takes import RIGS, WORLDS, delivered
from scipy.spatial.transform import Rotation

from carrellata.jobs.export.csv_table import BASE_ANGLES, FINAL_ANGLES, csv_text


def parsed(text):
    """Return the lines of the header and the columns as arrays."""
    lines = text.splitlines()
    header = [line for line in lines if line.startswith("#")]
    rows = list(csv.DictReader(lines[len(header) :]))
    return header, {n: np.array([float(r[n]) for r in rows]) for n in rows[0]}


@pytest.mark.parametrize("world", WORLDS)
@pytest.mark.parametrize("rig", RIGS)
def test_angles_turned_in_the_stated_order_are_the_takes_quaternion(world, rig):
    take = delivered(world=world, rig=rig, roll_deg=4.0)
    header, columns = parsed(csv_text(take.curves, take.table))
    up = WORLDS[world]["up"].upper()
    assert any(f"1 pan about {up}, 2 tilt about the camera's X" in h for h in header)
    start = Rotation.identity()
    if up == "Z":  # at angles 0 it looks along +Y
        start = Rotation.from_euler("x", 90, degrees=True)
        assert start.apply([0, 0, -1]) == pytest.approx([0, 1, 0])
    pan, tilt, roll = (columns[name] for name in FINAL_ANGLES)
    turned = (
        Rotation.from_euler(up.lower(), pan[:, None], degrees=True)
        * start
        * Rotation.from_euler("x", tilt[:, None], degrees=True)
        * Rotation.from_euler("z", roll[:, None], degrees=True)
    )
    asked = Rotation.from_quat(take.columns("qx", "qy", "qz", "qw"))
    assert (turned.inv() * asked).magnitude().max() < 1e-9
    base = np.column_stack([columns[name] for name in BASE_ANGLES])
    assert (base == take.columns("pan_deg", "tilt_deg", "roll_deg")).all()


def test_numbers_read_back_to_the_last_bit():
    take = delivered()
    _, columns = parsed(csv_text(take.curves, take.table))
    for name in ("frame", "time_s", "x", "cam_z", "qw", "focus_m", "shake_pan_deg"):
        assert (columns[name] == take.table[name].to_numpy()).all()
        assert np.abs(columns[name]).max() > 0


def test_header_states_units_axes_and_rate():
    take = delivered(world="centimetres_y_up")
    header, _ = parsed(csv_text(take.curves, take.table))
    text = "\n".join(header)
    for part in ("24000/1001", "Y up", "1 unit is 0.01 m", "looks along -Z", "1.1"):
        assert part in text
    assert take.curves.take_key in text


def test_final_pan_stays_by_the_base_over_whole_turns():
    take = delivered()
    curves = take.curves
    moved = type(curves)(
        **{name: getattr(curves, name) for name in curves.__slots__}
        | {"pan_deg": curves.pan_deg + 720.0}
    )
    _, columns = parsed(csv_text(moved, take.table))
    assert np.abs(columns[FINAL_ANGLES[0]] - moved.pan_deg).max() < 20
