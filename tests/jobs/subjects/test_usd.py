"""Subjects from OpenUSD scenes: places, axes, units, clocks, and what is refused."""

import json
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pxr import Gf, Sdf, Usd, UsdGeom, UsdSkel, UsdUtils
from subject_files import faults, read, reference

from carrellata.jobs.job.subject import SubjectSpec
from carrellata.jobs.run.check import check_job
from carrellata.jobs.run.local import solve_job
from carrellata.jobs.subjects import usd

FIRST, LAST = 1001, 1110
FRAMES = np.arange(FIRST - 5, LAST + 6)


def walk(frame: float) -> np.ndarray:
    """Return where the courier is [m], Y up."""
    seconds = (frame - FIRST) / 24
    return np.array([1.4 * seconds, 0.1 * np.sin(seconds), np.cos(0.7 * seconds)])


def in_scene(point: np.ndarray, up: str, unit_m: float) -> Gf.Vec3d:
    x, y, z = (point / unit_m).tolist()
    return Gf.Vec3d(x, y, z) if up == "Y" else Gf.Vec3d(x, -z, y)


def new_stage(
    path: Path,
    *,
    up: str | None = "Y",
    unit_m: float | None = 1.0,
    codes: float | None = 24000 / 1001,
) -> Usd.Stage:
    stage = Usd.Stage.CreateNew(str(path))
    if up is not None:
        UsdGeom.SetStageUpAxis(stage, up)
    if unit_m is not None:
        UsdGeom.SetStageMetersPerUnit(stage, unit_m)
    if codes is not None:
        stage.SetTimeCodesPerSecond(codes)
    return stage


def scene(path: Path, *, step: int = 1, every: int = 1, **said: Any) -> Path:
    """Write a courier who walks below a moved, turned parent.

    Args:
        path: of the scene.
        step: time codes a frame.
        every: frames from one authored sample to the next.
        said: what the stage says of itself.
    """
    stage = new_stage(path, **said)
    up = said.get("up") or "Y"
    unit = said.get("unit_m") or 1.0
    parent = UsdGeom.Xform.Define(stage, "/World")
    offset = in_scene(np.array([2.0, 0.5, -1.0]), up, unit)
    parent.AddTranslateOp(UsdGeom.XformOp.PrecisionDouble).Set(offset)
    about = parent.AddRotateYOp if up == "Y" else parent.AddRotateZOp
    about(UsdGeom.XformOp.PrecisionDouble).Set(30.0)
    back = parent.ComputeLocalToWorldTransform(0).GetInverse()
    courier = UsdGeom.Xform.Define(stage, "/World/courier")
    op = courier.AddTranslateOp(UsdGeom.XformOp.PrecisionDouble)
    for frame in FRAMES[::every].tolist():
        op.Set(back.Transform(in_scene(walk(frame), up, unit)), frame * step)
    stage.Save()
    return path


def courier(**fields: Any) -> SubjectSpec:
    return reference(**({"file": "set.usda", "prim": "/World/courier"} | fields))


@pytest.mark.parametrize("up", ["Y", "Z"])
@pytest.mark.parametrize("unit_m", [1.0, 0.01, 0.3048])
@pytest.mark.parametrize(
    ("job_up", "job_unit_m"), [("y", 1.0), ("z", 0.01), ("z", 1.0)]
)
def test_a_prim_is_where_the_scene_has_it_whatever_the_axes_and_units(
    tmp_path, up, unit_m, job_up, job_unit_m
) -> None:
    scene(tmp_path / "set.usda", up=up, unit_m=unit_m)
    track = read(courier(), tmp_path, up=job_up, metres_per_unit=job_unit_m)
    exact = np.array([walk(frame) for frame in range(FIRST, LAST + 1)])
    assert track.frames.tolist() == list(range(FIRST, LAST + 1))
    np.testing.assert_allclose(track.floor, exact, atol=1e-9)
    assert track.new.all()


def test_places_between_authored_samples_are_the_scenes(tmp_path) -> None:
    scene(tmp_path / "set.usda", every=5)
    track = read(courier(holds="keep"), tmp_path)
    keys = FRAMES[::5]
    points = np.array([walk(frame) for frame in keys])
    for axis in range(3):
        linear = np.interp(track.frames, keys, points[:, axis])
        np.testing.assert_allclose(track.floor[:, axis], linear, atol=1e-9)


@pytest.mark.parametrize(
    ("codes", "step", "rate"),
    [
        (24.0, 1, "24"),
        (24.0, 1, "24000/1001"),
        (24000 / 1001, 1, "24"),
        (48.0, 2, "24"),
        (48000 / 1001, 2, "24"),
        (120.0, 5, "24000/1001"),
        (60.0, 1, "60000/1001"),
    ],
)
def test_frames_are_time_codes_and_never_off_by_1001(
    tmp_path, codes, step, rate
) -> None:
    scene(tmp_path / "set.usda", codes=codes, step=step)
    track = read(courier(), tmp_path, rate=Fraction(rate))
    exact = np.array([walk(frame) for frame in range(FIRST, LAST + 1)])
    np.testing.assert_allclose(track.floor, exact, atol=1e-9)


@pytest.mark.parametrize("name", ["Hips", "Root/Hips"])
@pytest.mark.parametrize("prim", ["/Guard", "/Guard/Skel"])
def test_a_joint_is_where_its_skeleton_puts_it(tmp_path, name, prim) -> None:
    stage = new_stage(tmp_path / "set.usda", up="Z", unit_m=0.01)
    root = UsdSkel.Root.Define(stage, "/Guard")
    root.AddTranslateOp(UsdGeom.XformOp.PrecisionDouble).Set(Gf.Vec3d(50, 20, 0))
    skeleton = UsdSkel.Skeleton.Define(stage, "/Guard/Skel")
    joints = ["Root", "Root/Hips", "Root/Hips/Head"]
    skeleton.CreateJointsAttr(joints)
    rest = [Gf.Matrix4d().SetTranslate(Gf.Vec3d(0, 0, z)) for z in (0.0, 95.0, 70.0)]
    skeleton.CreateRestTransformsAttr(rest)
    skeleton.CreateBindTransformsAttr(rest)
    motion = UsdSkel.Animation.Define(stage, "/Guard/Skel/Motion")
    motion.CreateJointsAttr(joints)
    moves, turns = motion.CreateTranslationsAttr(), motion.CreateRotationsAttr()
    motion.CreateScalesAttr([Gf.Vec3h(1, 1, 1)] * 3)
    for frame in FRAMES.tolist():
        turn = Gf.Rotation(Gf.Vec3d(0, 0, 1), 2.0 * (frame - FIRST)).GetQuat()
        still = Gf.Quatf(1, 0, 0, 0)
        moves.Set([(2.0 * (frame - FIRST), 0, 0), (10, 0, 95), (0, 0, 70)], frame)
        turns.Set([Gf.Quatf(turn), still, still], frame)
    UsdSkel.BindingAPI.Apply(skeleton.GetPrim()).CreateAnimationSourceRel().SetTargets(
        [motion.GetPath()]
    )
    stage.Save()
    track = read(courier(prim=prim, joint=name, at="hips"), tmp_path)
    since = track.frames - FIRST
    angle = np.radians(2.0 * since)
    # Z up in centimetres to Y up in metres: (x, z, -y).
    x = 50 + 2.0 * since + 10 * np.cos(angle)
    y = 20 + 10 * np.sin(angle)
    np.testing.assert_allclose(track.floor[:, 0], x / 100, atol=1e-5)
    np.testing.assert_allclose(track.floor[:, 2], -y / 100, atol=1e-5)
    told = faults(courier(prim=prim, joint="Knee"), tmp_path)
    assert "no 'Knee' in its skeleton (Root, Root/Hips, Root/Hips/Head)" in told[0]


def test_a_hidden_prim_is_not_visible(tmp_path) -> None:
    scene(tmp_path / "set.usda")
    stage = Usd.Stage.Open(str(tmp_path / "set.usda"))
    seen = UsdGeom.Imageable(stage.GetPrimAtPath("/World")).CreateVisibilityAttr()
    seen.Set("inherited", 1000)
    seen.Set("invisible", 1050)
    seen.Set("inherited", 1060)
    stage.Save()
    track = read(courier(), tmp_path)
    hidden = track.frames[~track.visible]
    assert hidden.tolist() == list(range(1050, 1060))


def test_the_digest_is_of_every_layer_and_not_of_the_place(tmp_path) -> None:
    digests = []
    for folder, bend in (("a", 0.0), ("b/c", 0.0), ("d", 1.0)):
        (tmp_path / folder).mkdir(parents=True)
        scene(tmp_path / folder / "set.usda")
        below = new_stage(tmp_path / folder / "below.usda")
        UsdGeom.Xform.Define(below, "/Other").AddTranslateOp().Set((bend, 0, 0))
        below.Save()
        layer = Sdf.Layer.FindOrOpen(str(tmp_path / folder / "set.usda"))
        layer.subLayerPaths.append("./below.usda")
        layer.Save()
        digests.append(read(courier(), tmp_path / folder).digest)
    assert digests[0] == digests[1]
    assert digests[0] != digests[2]


def test_a_package_is_read_too(tmp_path) -> None:
    scene(tmp_path / "set.usda")
    path = str(tmp_path / "set.usdz")
    assert UsdUtils.CreateNewUsdzPackage(str(tmp_path / "set.usda"), path)
    track = read(courier(file="set.usdz"), tmp_path)
    np.testing.assert_allclose(track.floor[9], walk(FIRST + 9), atol=1e-9)


@pytest.mark.parametrize(
    ("said", "told", "given"),
    [
        (
            {"unit_m": None},
            ".units: 'set.usda' does not say metersPerUnit; give the unit of length",
            {"units": "m"},
        ),
        (
            {"up": None},
            ".up: 'set.usda' does not say upAxis; give the axis that points up",
            {"up": "y"},
        ),
        (
            {"codes": None},
            ".rate: 'set.usda' does not say timeCodesPerSecond; give its rate",
            {"rate": "24"},
        ),
    ],
)
def test_what_a_scene_does_not_say_the_job_has_to(tmp_path, said, told, given) -> None:
    scene(tmp_path / "set.usda", **said)
    assert faults(courier(), tmp_path) == [f"shots[2].subjects[0]{told}"]
    track = read(courier(**given), tmp_path)
    np.testing.assert_allclose(track.floor[9], walk(FIRST + 9), atol=1e-9)


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"units": "cm"}, ".units: 0.01 m, but 'set.usda' says metersPerUnit 1"),
        ({"up": "z"}, ".up: \"z\", but 'set.usda' says upAxis Y"),
        ({"rate": "24"}, ".rate: 24, but 'set.usda' has 23.976 codes a second"),
        ({"prim": "/World/couriers"}, "did you mean '/World/courier'"),
        ({"prim": "courier"}, "is not the path of a prim such as /World/courier"),
        ({"prim": "/a b"}, "is not the path of a prim"),
        ({"joint": "Hips"}, "needs one Skeleton at or below '/World/courier'"),
        ({"file": "none.usda"}, "'none.usda' is not a file"),
    ],
)
def test_what_does_not_agree_or_is_not_there_is_named(tmp_path, given, told) -> None:
    scene(tmp_path / "set.usda")
    (found,) = faults(courier(**given), tmp_path)
    assert told in found


def test_a_prim_without_a_place_is_named(tmp_path) -> None:
    scene(tmp_path / "set.usda")
    stage = Usd.Stage.Open(str(tmp_path / "set.usda"))
    stage.DefinePrim("/World/looks", "Scope")
    stage.Save()
    (found,) = faults(courier(prim="/World/looks"), tmp_path)
    assert "has no place, it is of Scope" in found


@pytest.mark.parametrize("text", ["no scene", "#usda 1.0\n(", ""])
def test_what_is_no_scene_is_named(tmp_path, text) -> None:
    (tmp_path / "set.usda").write_text(text)
    (found,) = faults(courier(), tmp_path)
    assert "cannot be opened as an OpenUSD scene" in found


def test_a_layer_that_is_not_there_is_named(tmp_path) -> None:
    scene(tmp_path / "set.usda")
    layer = Sdf.Layer.FindOrOpen(str(tmp_path / "set.usda"))
    layer.subLayerPaths.append("./gone.usda")
    layer.Save()
    (found,) = faults(courier(), tmp_path)
    assert "needs layers that are not there" in found
    assert "gone.usda" in found


def test_frames_outside_the_scenes_range_are_not_made_up(tmp_path) -> None:
    scene(tmp_path / "set.usda")
    stage = Usd.Stage.Open(str(tmp_path / "set.usda"))
    stage.SetStartTimeCode(1001)
    stage.SetEndTimeCode(1100)
    stage.Save()
    track = read(courier(), tmp_path)
    assert track.uncovered == ((1101, 1110),)
    assert not track.visible[-10:].any()
    (found,) = faults(courier(), tmp_path, first_frame=2001, last_frame=2010)
    assert "asks for 2001-2010, 'set.usda' has 1001-1100" in found


def test_a_pop_in_a_scene_is_named(tmp_path) -> None:
    scene(tmp_path / "set.usda")
    stage = Usd.Stage.Open(str(tmp_path / "set.usda"))
    move = stage.GetPrimAtPath("/World/courier").GetAttribute("xformOp:translate")
    move.Set(Gf.Vec3d(90, 0, 0), 1050)
    stage.Save()
    assert "m/s between 1049 and 1050" in faults(courier(), tmp_path)[0]


def test_the_missing_extra_is_named(tmp_path, monkeypatch) -> None:
    scene(tmp_path / "set.usda")
    monkeypatch.setattr(usd, "find_spec", lambda name: None)
    (found,) = faults(courier(), tmp_path)
    assert found.endswith('needs an extra: pip install "carrellata[scene]"')


def test_a_job_is_solved_from_a_scene(tmp_path) -> None:
    scene(tmp_path / "set.usdc", up="Z", unit_m=0.01)
    subject = {"file": "set.usdc", "prim": "/World/courier", "name": "courier"}
    job = {
        "schema": "carrellata.job/1",
        "sequence": "seq",
        "rate": "24",
        "world": {"up": "y", "metres_per_unit": 1.0},
        "camera": {"film_back": "super35-4perf", "lens_kit_mm": [35]},
        "defaults": {"framing": {"size": "full"}, "lens_mm": 35},
        "shots": [
            {
                "name": "010",
                "frames": [1001, 1020],
                "subjects": [subject | {"at": "floor", "height_m": 1.7}],
                "rig": {"kind": "sticks", "at": [0, 1.5, 6]},
            }
        ],
    }
    path = tmp_path / "job.json"
    path.write_text(json.dumps(job))
    assert check_job(path)[1] == ()
    (row,) = solve_job(path, tmp_path / "out", workers=1).rows
    assert row.status == "solved"
    assert row.measures["in_frame"] == 1.0
    (row,) = solve_job(path, tmp_path / "out", workers=1).rows
    assert row.status == "kept"
    stage = Usd.Stage.Open(str(tmp_path / "set.usdc"))
    move = stage.GetPrimAtPath("/World").GetAttribute("xformOp:translate")
    move.Set(move.Get() + Gf.Vec3d(10, 0, 0))
    stage.Save()
    (row,) = solve_job(path, tmp_path / "out", workers=1).rows
    assert row.status == "solved"
