"""Takes read back from disk, against a camera of OpenUSD and rotations of scipy.

The stage is that of the takes: Z up, centimetres. Nothing of the solver's own
projection is used.
"""

import math

import numpy as np
import pyarrow.parquet as pq
import pytest
from job_files import Columns, columns_of
from pxr import Gf, Usd, UsdGeom
from scipy.spatial.transform import Rotation

from carrellata.jobs.examples.ferry_dash.make import FOLDER
from carrellata.jobs.job.load import load_job
from carrellata.jobs.job.spec import JobFile
from carrellata.jobs.run.local import solve_job
from carrellata.jobs.takes.take_file import read_take
from carrellata.solver.action.body import EYES, aim_fraction

# Sticks with a handheld layer, a slanted track and action on twos, a roll, a gap in the
# samples, an arc.
SHOTS = ("040", "060", "080", "100", "110")
# Camera uses single precision for its matrices' fields; 1e-5 half frames is 10 um.
ON_SCREEN = 1e-5
# 35 mm film, four perforations: 24.89 mm wide (SMPTE 59, from memory).
WIDTH_MM = 24.89
ASPECT = 2.39


@pytest.fixture(scope="module")
def job() -> JobFile:
    return load_job(FOLDER / "job.toml")


@pytest.fixture(scope="module")
def takes(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Columns]:
    out = tmp_path_factory.mktemp("takes")
    outcome = solve_job(FOLDER / "job.toml", out, shots=SHOTS, workers=1)
    assert not outcome.failed
    return {
        name: columns_of(read_take(outcome.folder / "takes" / f"{name}.parquet"))
        for name in SHOTS
    }


def base_turn(columns: Columns) -> Rotation:
    """Scene from camera without shake, Z up: pan about +Z, tilt +X, roll +Z of it.

    At pan, tilt and roll 0 a camera that looks down its own -Z looks along +Y.
    """
    angles = [columns[f"{name}_deg"] for name in ("pan", "tilt", "roll")]
    upright = Rotation.from_euler("X", 90, degrees=True)
    return (
        Rotation.from_euler("Z", angles[0][:, None], degrees=True)
        * upright
        * Rotation.from_euler("XZ", np.column_stack(angles[1:]), degrees=True)
    )


def usd_camera(place: np.ndarray, turn: Rotation, focal_mm: float) -> Gf.Camera:
    """A camera of a Z-up stage in centimetres, as a viewer would evaluate it."""
    stage = Usd.Stage.CreateInMemory()
    UsdGeom.SetStageUpAxis(stage, UsdGeom.Tokens.z)
    UsdGeom.SetStageMetersPerUnit(stage, 0.01)
    camera = UsdGeom.Camera.Define(stage, "/camera")
    # Apertures and focal length are in tenths of the stage's unit, here millimetres.
    camera.CreateHorizontalApertureAttr(WIDTH_MM)
    camera.CreateVerticalApertureAttr(WIDTH_MM / ASPECT)
    camera.CreateFocalLengthAttr(focal_mm)
    camera.CreateClippingRangeAttr(Gf.Vec2f(1, 100_000))
    x, y, z, w = turn.as_quat()
    matrix = Gf.Matrix4d().SetRotate(Gf.Quatd(w, x, y, z))
    matrix.SetTranslateOnly(Gf.Vec3d(*map(float, place)))
    camera.AddTransformOp().Set(matrix)
    return camera.GetCamera(Usd.TimeCode.Default())


def on_screen(camera: Gf.Camera, point: np.ndarray) -> tuple[float, float]:
    frustum = camera.frustum
    matrix = frustum.ComputeViewMatrix() * frustum.ComputeProjectionMatrix()
    u, v, _ = matrix.Transform(Gf.Vec3d(*map(float, point)))
    return u, v


def aim_points(job: JobFile, name: str, columns: Columns) -> np.ndarray:
    """The point that each row is judged by, from the subject's own file, (n, 3) [cm].

    Between the floor and the eyes, at the height of the size that is asked: the
    file's samples are on the floor or at the hips, and its head, if any, is the eyes.
    """
    spec = job.shot(name)
    points = np.empty((len(columns["frame"]), 3))
    starts = [-np.inf, *(cue.frame for cue in spec.cues)]
    sizes = [spec.framing.asked_size]
    for cue in spec.cues:
        sizes.append(sizes[-1] if cue.asked_size is None else cue.asked_size)
    frames = columns["frame"] + columns["sub"] / spec.samples_per_frame
    at = np.searchsorted(starts, frames + 1e-9, "right") - 1
    for one in spec.subjects:
        assert one.file is not None
        table = columns_of(pq.read_table(FOLDER / one.file))
        xyz = np.column_stack(
            [np.interp(frames, table["frame"], table[axis]) for axis in "xyz"]
        )
        # Trochanterion over stature, as in the body table of the solver.
        above = {"floor": 0.0, "hips": 51.6 * one.height_m}[one.at]
        at_floor = xyz - np.array([0, 0, above])
        head = at_floor + np.array([0, 0, 100 * EYES * one.height_m])
        if "head_x" in table:
            titles = [f"head_{axis}" for axis in "xyz"]
            read = [np.interp(frames, table["frame"], table[t]) for t in titles]
            head = np.column_stack(read)
        share = np.array([aim_fraction(sizes[k]) for k in at]) / EYES
        mine = columns["subject"] == one.name
        points[mine] = (at_floor + (head - at_floor) * share[:, None])[mine]
    return points


@pytest.mark.slow
@pytest.mark.parametrize("name", SHOTS)
def test_subject_is_where_an_openusd_camera_sees_it(
    job: JobFile, takes: dict[str, Columns], name: str
) -> None:
    columns = takes[name]
    places = np.column_stack([columns[axis] for axis in "xyz"])
    turns = base_turn(columns)
    points = aim_points(job, name, columns)
    spread = []
    # Between keys on twos a take counts the subject as moving on, a file as waiting.
    moves = np.r_[True, (np.diff(points, axis=0) != 0).any(axis=1), True]
    waits = ~moves[:-1] & moves[1:] & np.r_[True, moves[:-2]]
    for k in np.flatnonzero(~np.isnan(columns["subject_u"]) & ~waits)[::5]:
        camera = usd_camera(places[k], turns[k], float(columns["focal_mm"][k]))
        u, v = on_screen(camera, points[k])
        assert u == pytest.approx(columns["subject_u"][k], abs=ON_SCREEN), k
        assert v == pytest.approx(columns["subject_v"][k], abs=ON_SCREEN), k
        spread.append((u, v))
    assert len(spread) > 10
    assert np.ptp(spread, axis=0).max() > 0.05


@pytest.mark.slow
@pytest.mark.parametrize("name", SHOTS)
def test_final_pose_is_the_base_then_shake_in_its_own_axes(
    takes: dict[str, Columns], name: str
) -> None:
    columns = takes[name]
    base = base_turn(columns)
    shaken = [columns[f"shake_{axis}_deg"] for axis in ("pan", "tilt", "roll")]
    layer = Rotation.from_euler("YXZ", np.column_stack(shaken), degrees=True)
    final = Rotation.from_quat(np.column_stack([columns[f"q{a}"] for a in "xyzw"]))
    apart = ((base * layer).inv() * final).magnitude()
    assert apart.max() < 1e-7
    assert layer.magnitude().max() > math.radians(0.01)
    moved = np.column_stack([columns[f"shake_{a}_m"] for a in "xyz"]) * 100.0
    places = np.column_stack([columns[a] for a in "xyz"]) + base.apply(moved)
    cam = np.column_stack([columns[f"cam_{a}"] for a in "xyz"])
    np.testing.assert_allclose(cam, places, atol=1e-9)
    assert np.abs(moved).max() > 0.001
