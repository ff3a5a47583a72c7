"""Recorded people, from files through a job to takes on disk.

Where the measured share of frames comes from: the numbers are printed (`pytest -s`),
and bounds are a little below what was seen when they were set.
"""

import shutil
import subprocess
import sys
from itertools import pairwise
from pathlib import Path
from typing import Any

import motion
import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from job_files import Columns, SolvedShot, metre_job, solve_on_disk, write_job

from carrellata.solver.action.body import framing_distance_m
from carrellata.solver.optics.camera import used_gate

FIRST = 1001
FPS = 24
HEIGHT_M = 1.75
HEADROOM = 0.08
LENS_MM = 50
LENS_HEIGHT_M = 1.5
POSE = ("cam_x", "cam_y", "cam_z", "qx", "qy", "qz", "qw", "pan_deg", "tilt_deg")
WHILE_SEEN = {
    *("subject_u", "subject_v", "subject_size", "headroom"),
    *("crown_u", "crown_v", "chin_u", "chin_v"),
}
TEXTS = {"sequence", "shot", "subject", "hidden_by"}


def full_size_m() -> float:
    """Distance that a full figure asks for on the lens of these jobs."""
    ty = used_gate(24.89, 18.66, aspect=2.39).half_tangents(LENS_MM)[1]
    return framing_distance_m("full", HEIGHT_M, HEADROOM, ty)


def sticks_beside(points: motion.FloatArray) -> list[float]:
    """A place beside the path, its nearest point the asked distance away."""
    flat = points[:, ::2]
    middle = flat.mean(axis=0)
    across = np.linalg.svd(flat - middle, full_matrices=False)[2][1]
    for step in np.arange(0.0, 200.0, 0.1):
        place = middle + step * across
        if np.linalg.norm(flat - place, axis=1).min() >= full_size_m():
            return [float(place[0]), LENS_HEIGHT_M, float(place[1])]
    message = "the path has no side"
    raise ValueError(message)


def person(file: str, **fields: Any) -> dict[str, Any]:
    return {
        "name": "runner",
        "file": file,
        "at": "floor",
        "height_m": HEIGHT_M,
    } | fields


def assert_whole(columns: Columns) -> None:
    """Every row is there and every number is one, u, v and size only while seen."""
    assert (np.diff(columns["frame"]) == 1).all()
    hidden = np.isnan(columns["subject_u"])
    for name in columns.keys() - TEXTS - WHILE_SEEN - {"dof_far_m"}:
        assert np.isfinite(columns[name]).all(), name
    assert not np.isnan(columns["dof_far_m"]).any()
    for name in WHILE_SEEN:
        assert (np.isnan(columns[name]) >= hidden).all(), name
    assert not columns["in_frame"][hidden].any()
    turns = np.column_stack([columns[f"q{axis}"] for axis in "xyzw"])
    np.testing.assert_allclose(np.linalg.norm(turns, axis=1), 1.0, atol=1e-12)
    assert (np.einsum("ni,ni->n", turns[1:], turns[:-1]) > 0).all()


def assert_limits(shot: SolvedShot) -> None:
    """What the take says that its crew can do is what the columns do."""
    crew, columns = shot.metadata.crew, shot.columns
    operator, grip = crew.operator, crew.grip
    for axis in ("pan", "tilt"):
        assert np.abs(columns[f"{axis}_speed"]).max() <= operator["max_speed"] + 1e-6
        assert np.abs(columns[f"{axis}_accel"]).max() <= operator["max_accel"] + 1e-6
    assert np.abs(columns["rail_speed"]).max() <= grip["max_speed"] + 1e-6
    assert np.abs(columns["rail_accel"]).max() <= grip["max_accel"] + 1e-6


def held_share(columns: Columns) -> float:
    """Share of the frames that show the subject with its aim point in frame."""
    seen = ~np.isnan(columns["subject_u"])
    return float(columns["in_frame"][seen].mean())


@pytest.fixture(scope="module")
def jumps(tmp_path_factory: pytest.TempPathFactory) -> dict[str, SolvedShot]:
    folder = tmp_path_factory.mktemp("jumps")
    shutil.copy(motion.cmu_file("01_01.bvh"), folder)
    jumper = person(
        "01_01.bvh",
        name="jumper",
        at="hips",
        joint="Hips",
        units=motion.CMU_METRES_PER_UNIT,
        up="y",
        rate="120",
        first_sample_at=FIRST,
    )
    common = {"frames": [FIRST, FIRST + 540], "subjects": [jumper]}
    # He moves along Z, 3.8 m in 23 s; the lens looks along +X at him.
    away = 0.5 - full_size_m()
    job = metre_job(
        {"name": "sticks", "rig": {"kind": "sticks", "at": [away, 1.5, 0.8]}} | common,
        {
            "name": "track",
            "rig": {
                "kind": "track",
                "from": [away, 1.5, -2.0],
                "to": [away, 1.5, 4.0],
                "hold": "abreast",
            },
        }
        | common,
    )
    return solve_on_disk(folder, job)


@pytest.mark.slow
@pytest.mark.parametrize("rig", ["sticks", "track"])
def test_jumps_from_a_bvh_file_are_held(jumps: dict[str, SolvedShot], rig: str) -> None:
    shot = jumps[rig]
    body = shot.metadata.measures["body_in_frame"]
    print(f"jumps on {rig}: in frame {held_share(shot.columns):.4f}, body {body:.4f}")
    assert shot.status == "solved"
    assert_whole(shot.columns)
    assert_limits(shot)
    assert not np.isnan(shot.columns["subject_u"]).any()
    assert held_share(shot.columns) == 1.0


@pytest.mark.slow
def test_dolly_goes_with_the_jumps(jumps: dict[str, SolvedShot]) -> None:
    assert np.ptp(jumps["track"].columns["rail_m"]) > 1.0
    assert np.ptp(jumps["sticks"].columns["rail_m"]) == 0.0
    turned = [np.ptp(jumps[rig].columns["pan_deg"]) for rig in ("track", "sticks")]
    assert turned[0] < turned[1]


@pytest.fixture(scope="module")
def stretches(tmp_path_factory: pytest.TempPathFactory) -> dict[str, SolvedShot]:
    folder = tmp_path_factory.mktemp("stretches")
    shots = []
    for k, (name, (fps, points)) in enumerate(motion.football_stretches().items()):
        seconds = np.arange(len(points)) / fps
        x, y, z = points.T
        table = pa.table({"time_s": seconds + 5.0 * k, "x": x, "y": y, "z": z})
        pq.write_table(table, folder / f"{name}.parquet")
        # With and without a stated rate: the clock of the table says the same.
        stated = {"rate": f"{fps:g}"} if k % 2 else {}
        last = FIRST + int(seconds[-1] * FPS)
        shots.append(
            {
                "name": name,
                "frames": [FIRST, last],
                "subjects": [
                    person(f"{name}.parquet", first_sample_at=FIRST, **stated)
                ],
                "rig": {"kind": "sticks", "at": sticks_beside(points)},
            }
        )
    return solve_on_disk(folder, metre_job(*shots))


@pytest.mark.slow
def test_football_stretches_are_held_from_sticks(
    stretches: dict[str, SolvedShot],
) -> None:
    assert len(stretches) == 10
    shares = {name: held_share(shot.columns) for name, shot in stretches.items()}
    for name, share in shares.items():
        print(f"{name:14s} in frame {share:.4f}")
    print(f"mean in frame {np.mean(list(shares.values())):.4f}")
    assert np.mean(list(shares.values())) >= 0.97
    assert min(shares.values()) >= 0.9
    assert {shot.status for shot in stretches.values()} == {"solved"}


@pytest.mark.slow
@pytest.mark.parametrize("name", motion.STRETCH_NAMES)
def test_take_of_a_stretch_is_whole_and_within_limits(
    stretches: dict[str, SolvedShot], name: str
) -> None:
    shot = stretches[name]
    assert_whole(shot.columns)
    assert_limits(shot)
    assert not np.isnan(shot.columns["subject_u"]).any()
    # A camera that never turned would have lost everybody.
    assert np.ptp(shot.columns["pan_deg"]) > 30.0


def half_job(folder: Path, minutes: float | None) -> dict[str, Any]:
    """Write the referee's half, or its first minutes, and return the job."""
    fps, frames, points = motion.football_half()
    seconds = (frames - frames[0]) / fps
    kept = seconds <= (60.0 * minutes if minutes else np.inf)
    x, y, z = points[kept].T
    columns = {"time_s": seconds[kept], "x": x, "y": y, "z": z}
    pq.write_table(pa.table(columns), folder / "referee.parquet")
    shot = {
        "name": "half",
        "frames": [FIRST, FIRST + int(seconds[kept][-1] * FPS)],
        # One reading jumps by 3 m: tracking noise, and the data says so.
        "subjects": [
            person(
                "referee.parquet",
                rate=f"{fps:g}",
                first_sample_at=FIRST,
                limit_m_s=35.0,
            )
        ],
        # Halfway along the touch line, outside the pitch.
        "rig": {"kind": "sticks", "at": [0.0, 6.0, 45.0]},
        "lens_mm": 100,
    }
    return metre_job(shot)


def minutes_asked() -> list[Any]:
    return [5.0, pytest.param(None, marks=pytest.mark.long)]


@pytest.mark.slow
@pytest.mark.parametrize("minutes", minutes_asked(), ids=["five", "half"])
def test_half_with_gaps_is_operated_on_what_is_seen(
    tmp_path: Path, minutes: float | None
) -> None:
    job = half_job(tmp_path, minutes)
    shot = solve_on_disk(tmp_path, job)["half"]
    columns = shot.columns
    fps, frames, _ = motion.football_half()
    n_frames = len(columns["frame"])
    assert n_frames > (7000 if minutes else 65_000)
    assert_whole(columns)
    assert_limits(shot)
    # The oracle: a frame shows him if the last reading at or before it is recent.
    read_s = (frames - frames[0]) / fps
    now_s = (columns["frame"] - FIRST) / FPS
    age_s = now_s - read_s[np.searchsorted(read_s, now_s + 1e-9, "right") - 1]
    hidden = np.isnan(columns["subject_u"])
    assert (hidden == (age_s > 1.0 / fps - 1e-6)).mean() > 0.99
    assert hidden[age_s > 2.0 / fps].all()
    assert not hidden[age_s < 1.0 / fps - 1e-6].any()
    assert 0.2 < hidden.mean() < 0.6
    decided = columns["decided_pan"] | columns["decided_tilt"]
    print(
        f"{n_frames} frames, hidden {hidden.mean():.3f}, in frame while seen "
        f"{held_share(columns):.4f}, decisions a second "
        f"{FPS * decided[~hidden].mean():.2f} seen, {FPS * decided[hidden].mean():.2f} "
        "hidden"
    )
    assert decided[~hidden].sum() > 50
    assert decided[hidden].mean() < 0.7 * decided[~hidden].mean()
    assert held_share(columns) > 0.95


@pytest.mark.slow
def test_nothing_is_known_of_what_comes_after_a_gap(tmp_path: Path) -> None:
    # Readers fill gaps between their two ends; the crew must not see the far one.
    job = half_job(tmp_path, 1.5)
    before = solve_on_disk(tmp_path, job)["half"]
    path = tmp_path / "referee.parquet"
    table = pq.read_table(path)
    seconds = table["time_s"].to_numpy()
    gap = int(np.argmax(np.diff(seconds)))
    assert seconds[gap + 1] - seconds[gap] > 3.0
    later = np.arange(len(seconds)) > gap
    moved = table["x"].to_numpy() + np.where(later, 4.0, 0.0)
    pq.write_table(table.set_column(1, "x", pa.array(moved)), path)
    after = solve_on_disk(tmp_path, job)["half"]
    reaction_s = before.metadata.crew.operator["reaction_s"]
    now_s = (before.columns["frame"] - FIRST) / FPS
    same = now_s <= seconds[gap + 1] + reaction_s
    decided = [f"decided_{axis}" for axis in ("pan", "tilt")]
    for name in (*POSE, *decided):
        assert (before.columns[name][same] == after.columns[name][same]).all(), name
    assert np.abs(before.columns["pan_deg"] - after.columns["pan_deg"]).max() > 1.0


PEAK = """
import sys, time
from pathlib import Path
from carrellata.jobs.run.local import solve_job
from carrellata.jobs.run.warm import warm_up
warm_up()
start = time.perf_counter()
outcome = solve_job(Path(sys.argv[1]), Path(sys.argv[2]), workers=1)
assert not outcome.failed, outcome.rows
spent_s = time.perf_counter() - start
status = Path("/proc/self/status").read_text()
print(status.split("VmHWM:")[1].split()[0], spent_s)
"""


def peak_and_time(folder: Path, minutes: float | None) -> tuple[int, float, float]:
    """Frames, peak resident memory [bytes] and time [s] of a process that solves.

    The lowest of two runs.
    """
    folder.mkdir()
    job = half_job(folder, minutes)
    path = write_job(folder, job)
    first, last = job["shots"][0]["frames"]
    peaks, times = [], []
    for k in range(2):  # what the allocator keeps differs from run to run
        words = [sys.executable, "-c", PEAK, str(path), str(folder / f"out{k}")]
        done = subprocess.run(words, capture_output=True, text=True, check=True)
        kilobytes, spent_s = done.stdout.split()
        peaks.append(1024.0 * int(kilobytes))
        times.append(float(spent_s))
    return last - first + 1, min(peaks), min(times)


@pytest.mark.slow
@pytest.mark.parametrize(
    "lengths",
    [(1.0, 10.0), pytest.param((5.0, 15.0, None), marks=pytest.mark.long)],
    ids=["short", "half"],
)
def test_memory_grows_by_less_than_two_kilobytes_a_frame(
    tmp_path: Path, lengths: tuple[float | None, ...]
) -> None:
    runs = [peak_and_time(tmp_path / str(m), m) for m in lengths]
    for frames, peak, spent_s in runs:
        print(f"{frames:6d} frames: {peak / 2**20:.0f} MiB at most, {spent_s:.2f} s")
    for (frames, peak, spent_s), (more, higher, longer_s) in pairwise(runs):
        exponent = np.log(longer_s / spent_s) / np.log(more / frames)
        a_frame = (higher - peak) / (more - frames)
        print(f"{a_frame:.0f} bytes a frame, time grows by power {exponent:.2f}")
        assert a_frame < 2048
