"""Cameras read from tables and scenes; what cannot be used is named."""

import numpy as np
import pytest
from job_files import metre_job, solve_on_disk
from study_files import exact_columns, subject_entry, write_columns, write_study

from carrellata.jobs.study.curves import read_camera
from carrellata.jobs.study.spec import load_study
from carrellata.jobs.subjects.faults import SubjectError


def read(folder, values, name="c.csv", **entry):
    write_columns(folder / name, values)
    return read_entry(folder, {"name": "one", "file": name, **entry})


def read_entry(folder, entry, **fields):
    subject = {"name": "s", "file": "s.csv", "at": "floor", "height_m": 1.7}
    path = write_study(folder, {"subject": subject} | entry, **fields)
    file = load_study(path)
    return read_camera(file.cameras[0], file, folder=folder, path="cameras[0]").move


@pytest.mark.parametrize("name", ["c.csv", "c.parquet"])
def test_a_plain_table_gives_its_curves(tmp_path, name):
    values = exact_columns()
    move = read(tmp_path, values, name)
    assert np.degrees(move.pan) == pytest.approx(values["pan_deg"])
    assert move.place[:, 2] == pytest.approx(values["z"])
    assert move.times_s == pytest.approx(values["frame"] / 24)


def test_quaternions_of_a_z_up_scene_in_centimetres_come_inside(tmp_path):
    from carrellata.jobs.job.world import WorldSpec
    from carrellata.solver.optics.camera import quaternion

    values = exact_columns()
    world = WorldSpec(up="z", metres_per_unit=0.01)
    pan, tilt = np.radians(values["pan_deg"]), np.radians(values["tilt_deg"])
    turns = world.scene_turns(quaternion(pan, tilt, 0 * pan))
    place = world.scene(np.column_stack([values[c] for c in "xyz"]))
    table = {"frame": values["frame"], "focal_mm": values["focal_mm"]}
    table |= dict(zip("xyz", place.T, strict=True))
    table |= dict(zip(("qx", "qy", "qz", "qw"), turns.T, strict=True))
    write_columns(tmp_path / "c.parquet", table)
    move = read_entry(
        tmp_path,
        {"name": "one", "file": "c.parquet"},
        world={"up": "z", "metres_per_unit": 0.01},
    )
    assert move.pan == pytest.approx(pan)
    assert move.tilt == pytest.approx(tilt)
    assert move.place[:, 0] == pytest.approx(values["x"])


def test_our_take_is_read_with_its_shake(tmp_path):
    entry = subject_entry(tmp_path, "referee_turns", 96)
    shot = {
        "name": "010",
        "frames": [0, 95],
        "subjects": [entry],
        "rig": {"kind": "sticks", "at": [0, 1.5, 14]},
        "shake": "shoulder",
    }
    columns = solve_on_disk(tmp_path, metre_job(shot))["010"].columns
    take = next(tmp_path.glob("out/**/takes/010.parquet"))
    move = read_entry(tmp_path, {"name": "one", "file": str(take)})
    assert move.place[:, 1] == pytest.approx(columns["cam_y"])
    away = np.degrees(move.pan) - columns["pan_deg"] - columns["shake_pan_deg"]
    assert np.abs(away).max() < 0.02
    assert np.abs(np.degrees(move.pan) - columns["pan_deg"]).max() > 0.05


def test_a_scene_gives_its_camera(tmp_path):
    from pxr import Gf, Usd, UsdGeom

    values = exact_columns(seconds=3.0)
    stage = Usd.Stage.CreateNew(str(tmp_path / "c.usda"))
    UsdGeom.SetStageUpAxis(stage, UsdGeom.Tokens.y)
    UsdGeom.SetStageMetersPerUnit(stage, 1.0)
    stage.SetStartTimeCode(0)
    stage.SetEndTimeCode(len(values["frame"]) - 1)
    camera = UsdGeom.Camera.Define(stage, "/shot/camera")
    camera.GetHorizontalApertureAttr().Set(0.2489)
    camera.GetFocalLengthAttr().Set(0.5)
    moved = camera.AddTranslateOp()
    turned = camera.AddRotateXYZOp()
    for k, pan in enumerate(values["pan_deg"]):
        moved.Set(Gf.Vec3d(*(float(values[c][k]) for c in "xyz")), float(k))
        turned.Set(Gf.Vec3f(0.0, float(pan), 0.0), float(k))
    stage.GetRootLayer().Save()
    move = read_entry(tmp_path, {"name": "one", "file": "c.usda"})
    assert np.degrees(move.pan) == pytest.approx(values["pan_deg"], abs=1e-3)
    assert move.place[:, 2] == pytest.approx(values["z"], abs=1e-6)
    assert move.focal == pytest.approx(50.0, rel=1e-4)


def spoiled(column, row, value):
    def spoil(values):
        values[column] = np.array(values[column], dtype=float)
        values[column][row] = value

    return spoil


BAD = {
    "column": (lambda v: v.pop("y"), "'c.csv' has no column 'y'"),
    "angles": (lambda v: v.pop("pan_deg"), "neither 'pan_deg', 'tilt_deg' nor 'qx'"),
    "clock": (lambda v: v.pop("frame"), "has no column 'frame' or 'time_s'"),
    "lens": (lambda v: v.pop("focal_mm"), "no column 'focal_mm', and no lens_mm"),
    "nan": (spoiled("x", 4, np.nan), "no number for x in row 5"),
    "lens of 0": (spoiled("focal_mm", 6, 0.0), "focal_mm must be > 0 mm, row 7"),
    "back": (spoiled("frame", 9, 3.0), "must rise in time, row 10"),
    "gap": (
        lambda v: v.update(frame=v["frame"] + 3 * (v["frame"] > 20)),
        "evenly sampled, row 22 is 4 frames after the one before, others 1",
    ),
    "few": (
        lambda v: v.update({name: v[name][:5] for name in list(v)}),
        "has 5 samples, least 8",
    ),
    "text": (
        lambda v: v.update(z=np.array(["far"] * len(v["x"]))),
        "column 'z' is of type string, must be numbers",
    ),
}


@pytest.mark.parametrize("case", BAD)
def test_what_cannot_be_used_is_named(tmp_path, case):
    spoil, message = BAD[case]
    values = exact_columns()
    spoil(values)
    with pytest.raises(SubjectError) as refused:
        read(tmp_path, values)
    assert message in str(refused.value)
    assert str(refused.value).startswith("cameras[0].file: ")


def test_files_that_are_none_are_named(tmp_path):
    with pytest.raises(SubjectError, match=r"'gone\.csv' is not a file"):
        read_entry(tmp_path, {"name": "one", "file": "gone.csv"})
    with pytest.raises(SubjectError, match="must end in one of"):
        read_entry(tmp_path, {"name": "one", "file": "c.mov"})
    (tmp_path / "c.parquet").write_bytes(b"nothing of the kind")
    with pytest.raises(SubjectError, match="is not a readable table"):
        read_entry(tmp_path, {"name": "one", "file": "c.parquet"})
