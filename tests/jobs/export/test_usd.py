"""Cameras written as OpenUSD, read back by the library's own camera and frustum."""

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from export_takes import RIGS, WORLDS, Delivered, delivered
from pxr import Gf, Sdf, Usd, UsdGeom, UsdValidation
from scipy.interpolate import CubicHermiteSpline

from carrellata.jobs.export.usd import Keys, usd_shot
from carrellata.jobs.job.world import WorldSpec
from carrellata.jobs.takes.curves import curves_of

BASE = "/chase/rail/head/shake/camera"
RATES = ("24", "25", "24000/1001", "60")


def opened(folder: Path, take: Delivered, keys: Keys = "frames") -> Usd.Stage:
    """Write the files of a shot and open them as a stage."""
    files = usd_shot(take.curves, name="chase", world=take.curves.world, keys=keys)
    (folder / "chase.usda").write_text(files.shot)
    if files.shake is not None:
        (folder / "chase_shake.usda").write_text(files.shake)
    return Usd.Stage.Open(str(folder / "chase.usda"))


def mute_shake(stage: Usd.Stage) -> None:
    (shake,) = stage.GetRootLayer().subLayerPaths
    stage.MuteLayer(Sdf.ComputeAssetPathRelativeToLayer(stage.GetRootLayer(), shake))


def camera(stage: Usd.Stage, code: float) -> Gf.Camera:
    return UsdGeom.Camera(stage.GetPrimAtPath(BASE)).GetCamera(code)


def on_screen(seen: Gf.Camera, point: np.ndarray) -> np.ndarray:
    """Project a point with the library's frustum, -1 to 1 right and up."""
    frustum = seen.frustum
    matrix = np.array(frustum.ComputeViewMatrix() * frustum.ComputeProjectionMatrix())
    x, y, _, w = np.append(point, 1.0) @ matrix
    return np.array([x, y]) / w


def assert_projects_as_the_take(stage: Usd.Stage, take: Delivered) -> None:
    mute_shake(stage)
    overscan = take.curves.gate.overscan
    aims = take.columns("subject_x", "subject_y", "subject_z")
    asked = take.columns("subject_u", "subject_v")
    assert np.abs(asked).max() > 0.01
    for code, aim, uv in zip(take.curves.time_codes, aims, asked, strict=True):
        seen = on_screen(camera(stage, code), aim) * overscan
        # 1e-5 of the frame, which is two wide.
        np.testing.assert_allclose(seen, uv, atol=2e-5, rtol=0)


@pytest.mark.parametrize("world", WORLDS)
@pytest.mark.parametrize("rig", RIGS)
def test_projection_is_the_takes_on_every_stage(tmp_path, world, rig) -> None:
    take = delivered(world=world, rig=rig)
    stage = opened(tmp_path, take)
    assert_projects_as_the_take(stage, take)


@pytest.mark.parametrize("rate", RATES)
@pytest.mark.parametrize("world", ["centimetres_z_up", "metres_y_up"])
def test_projection_is_the_takes_at_every_rate(tmp_path, rate, world) -> None:
    take = delivered(rate=rate, world=world)
    stage = opened(tmp_path, take)
    assert_projects_as_the_take(stage, take)
    assert Fraction(stage.GetTimeCodesPerSecond()).limit_denominator(1001) == Fraction(
        rate
    )
    codes = (take.curves.frame[0], take.curves.frame[-1])
    assert (stage.GetStartTimeCode(), stage.GetEndTimeCode()) == codes


@pytest.mark.parametrize("keys", ["frames", "sparse"])
def test_projection_of_a_frame_off_the_lens_axis_is_the_takes(tmp_path, keys) -> None:
    film = {"film_back": "super35-4perf", "aspect": 2.39, "extraction": "common_top"}
    take = delivered(camera=film | {"lens_kit_mm": [40], "overscan": 1.2})
    assert take.curves.gate.axis_v < -0.1
    stage = opened(tmp_path, take, keys)
    assert_projects_as_the_take(stage, take)


@pytest.mark.parametrize("world", WORLDS)
@pytest.mark.parametrize("rig", RIGS)
@pytest.mark.parametrize("keys", ["frames", "sparse"])
def test_pose_with_shake_is_the_takes_and_without_it_the_base(
    tmp_path, world, rig, keys
) -> None:
    take = delivered(world=world, rig=rig, roll_deg=2.0)
    stage = opened(tmp_path, take, keys)
    final = take.columns("cam_x", "cam_y", "cam_z")
    base = take.columns("x", "y", "z")
    turns = take.columns("qx", "qy", "qz", "qw")
    size = np.abs(base).max()
    poses = []
    for code, place, turn in zip(take.curves.time_codes, final, turns, strict=True):
        pose = camera(stage, code).transform
        poses.append(np.array(pose))
        np.testing.assert_allclose(pose.ExtractTranslation(), place, atol=1e-9 * size)
        found = pose.ExtractRotationQuat()
        found = np.array([*found.imaginary, found.real])
        assert abs(found @ turn) == pytest.approx(1.0, abs=1e-12)
    mute_shake(stage)
    for code, place, shaken in zip(take.curves.time_codes, base, poses, strict=True):
        pose = camera(stage, code).transform
        np.testing.assert_allclose(pose.ExtractTranslation(), place, atol=1e-9 * size)
        assert np.abs(np.array(pose) - shaken).max() > 1e-5
    still = usd_shot(
        curves_of(delivered(world=world, rig=rig, roll_deg=2.0, shake="locked").table),
        name="chase",
        world=WorldSpec(**WORLDS[world]),
        keys=keys,
    )
    assert still.shake is None
    locked = Sdf.Layer.CreateAnonymous(".usda")
    locked.ImportFromString(still.shot)
    other = Usd.Stage.Open(locked)
    for code in take.curves.time_codes:
        np.testing.assert_allclose(
            camera(stage, code).transform, camera(other, code).transform, atol=1e-9
        )


@pytest.mark.parametrize("rig", ["track", "arc"])
def test_sparse_keys_are_the_plan_between_frames_too(tmp_path, rig) -> None:
    take = delivered(rig=rig, shake="locked")
    stage = opened(tmp_path, take, "sparse")
    rate = float(take.curves.rate)
    times = np.random.default_rng(5).uniform(*take.curves.time_s[[0, -1]], 500)
    exact = {n: CubicHermiteSpline(*k.T)(times) for n, k in take.curves.knots.items()}
    rail = UsdGeom.Xformable(stage.GetPrimAtPath("/chase/rail"))
    head = UsdGeom.Xformable(stage.GetPrimAtPath("/chase/rail/head"))
    every = (*rail.GetOrderedXformOps(), *head.GetOrderedXformOps())
    ops = {op.GetOpName(): op for op in every}
    pan, tilt = ops["xformOp:rotateZ:pan"], ops["xformOp:rotateX:tilt"]
    moving = {"pan_deg": (pan, 1.0, 0.0), "tilt_deg": (tilt, 1.0, 0.0)}
    if rig == "track":
        moving["rail_m"] = (ops["xformOp:translateX:dolly"], 100.0, 0.0)
    else:
        scale = np.degrees(1 / 4.2) * take.curves.rail.shape.turn
        moving["rail_m"] = (ops["xformOp:rotateZ:arc"], scale, 150.0)
    for name, (op, scale, offset) in moving.items():
        assert op.GetAttr().HasSpline()
        assert len(op.GetAttr().GetSpline().GetKnots()) < len(take.curves.frame)
        found = [op.GetAttr().Get(time * rate) for time in times]
        np.testing.assert_allclose(found, exact[name] * scale + offset, atol=1e-9)
        at_frames = [op.GetAttr().Get(code) for code in take.curves.time_codes]
        column = take.table[name].to_numpy() * scale + offset
        np.testing.assert_allclose(at_frames, column, atol=1e-9)
        assert np.ptp(column) > 1e-3


def test_subframes_have_time_codes_of_their_own(tmp_path) -> None:
    take = delivered(samples_per_frame=4)
    stage = opened(tmp_path, take)
    assert_projects_as_the_take(stage, take)
    head = stage.GetPrimAtPath("/chase/rail/head")
    pan = head.GetAttribute("xformOp:rotateZ:pan")
    assert pan.GetTimeSamples()[:5] == [997.0, 997.25, 997.5, 997.75, 998.0]


@pytest.mark.parametrize(
    ("world", "unit_m"), [("metres_y_up", 1), ("centimetres_z_up", 0.01)]
)
def test_lens_is_in_tenths_of_a_unit_and_focus_in_units(
    tmp_path, world, unit_m
) -> None:
    take = delivered(world=world)
    stage = opened(tmp_path, take)
    lens = UsdGeom.Camera(stage.GetPrimAtPath(BASE))
    gate, tenth_mm = take.curves.gate, 100 * unit_m
    assert lens.GetFocalLengthAttr().Get() * tenth_mm == pytest.approx(40, rel=1e-6)
    # 2 x squeeze and 1.1 x overscan: 18.60 mm high, 18.60 x 2.39 / 2 wide on the film.
    assert gate.height_mm == pytest.approx(min(18.60, 2 * 21.95 / 2.39))
    high, wide = gate.height_mm * 1.1, gate.height_mm * 2.39 * 1.1
    seen = lens.GetHorizontalApertureAttr().Get(), lens.GetVerticalApertureAttr().Get()
    assert np.array(seen) * tenth_mm == pytest.approx(np.array([wide, high]), rel=1e-6)
    code = float(take.curves.time_codes[7])
    assert lens.GetFocusDistanceAttr().Get(code) * unit_m == pytest.approx(
        take.table["focus_m"][7].as_py(), rel=1e-6
    )
    assert lens.GetFStopAttr().Get() == pytest.approx(2.8)
    assert lens.GetShutterCloseAttr().Get() == 0.5


def test_stage_says_its_axes_units_rate_and_shot(tmp_path) -> None:
    take = delivered(world="metres_y_up")
    stage = opened(tmp_path, take)
    assert UsdGeom.GetStageUpAxis(stage) == "Y"
    assert UsdGeom.GetStageMetersPerUnit(stage) == 1.0
    assert stage.GetDefaultPrim().GetPath() == "/chase"
    said = stage.GetRootLayer().customLayerData["carrellata"]
    assert said["rate"] == "24000/1001"
    assert said["take_key"] == take.curves.take_key
    assert (said["cut_first"], said["cut_last"]) == (1001, 1024)


def test_shake_moves_in_a_layer_of_its_own(tmp_path) -> None:
    take = delivered()
    stage = opened(tmp_path, take)
    shake = stage.GetPrimAtPath("/chase/rail/head/shake")
    for name in ("xformOp:translate:shake", "xformOp:rotateY:pan"):
        (one,) = shake.GetAttribute(name).GetPropertyStack()
        assert Path(one.layer.identifier).name == "chase_shake.usda"


@pytest.mark.parametrize("keys", ["frames", "sparse"])
def test_the_librarys_own_validators_find_nothing(tmp_path, keys) -> None:
    stage = opened(tmp_path, delivered(), keys)
    validators = UsdValidation.ValidationRegistry().GetOrLoadAllValidators()
    assert len(validators) > 10
    errors = UsdValidation.ValidationContext(validators).Validate(stage)
    assert [error.GetMessage() for error in errors] == []
