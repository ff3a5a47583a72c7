"""Recorded motion before the crew and before three plain baselines.

Clips are read where their packages are installed (see `motion`). The camera stands on
the side, where the figure is full when nearest; a track runs along the clip's long
axis. Differences are taken at 24 frames a second for all solvers alike.
"""

from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass
from fractions import Fraction
from pathlib import Path

import motion
import numpy as np
from numpy.typing import NDArray
from shots import LENS_HEIGHT_M, framing, shot, subject

from carrellata.solver.crew.operator import SAFE
from carrellata.solver.frame.projection import project
from carrellata.solver.presets import Crew
from carrellata.solver.rigs.shape import Rig
from carrellata.solver.rigs.sticks import sticks as make_sticks
from carrellata.solver.rigs.track import track as make_track
from carrellata.solver.shot import Shot

from .baselines import SOLVERS, Moves, aimed_at
from .people import preset, restlessness
from .perturb import read_ahead

FloatArray = NDArray[np.float64]

RATE = Fraction(24)
FOCAL_MM = 50.0
HIPS_M = 0.9  # of the recorded hips above the floor, about
ROOT = Path(__file__).resolve().parents[2]
CAR_FILE = ROOT / ".venv/testdata/evo-1.38.1/test/data/KITTI_00_gt.txt"
CAR_S = 90.0
DRONE_FILE = ROOT / ".venv/testdata/evo-1.38.1/test/data/V102_groundtruth.csv"
DRONE_EVERY = 4  # samples, of 200 a second
FILTER_HZ = 1.0
STILL_RAD_S = np.radians(1.0)
STILL_M_S = 0.02
REST_RAD_S = np.radians(0.3)
PEAK_RAD_S = np.radians(2.0)
LEAST_PAN_RAD_S = np.radians(0.5)  # r.m.s., under which a pan has no lag
LAGS_S = np.arange(-0.5, 1.0, 0.005)


@dataclass(frozen=True, kw_only=True, slots=True)
class Clip:
    """A named recording: samples a second, floor points (n, 3) [m], framing size.

    `held_out` says that no preset and no weight was set on its file.
    """

    name: str
    source: str
    rate_hz: float
    floor: FloatArray
    size: str | float = "full"
    held_out: bool = False


def clips() -> list[Clip]:
    """Return the clips. None is of an owner who is not stated."""
    found = []
    for k, (name, (rate, points)) in enumerate(motion.football_stretches().items()):
        label = f"football {k + 1}" + (" (referee)" if "referee" in name else "")
        source = "SkillCorner open data, match 2417 (MIT)"
        found.append(Clip(name=label, source=source, rate_hz=rate, floor=points))
    down = [0.0, HIPS_M, 0.0]
    cmu = "CMU motion capture database (free for any use)"
    clip = "DeepMimic {} (MIT), repeated"
    for name, source, (rate, points) in (
        ("mocap jumps", f"{cmu}, 01_01", motion.cmu_jumps()),
        ("mocap climbing", f"{cmu}, 01_03", motion.cmu_climbing()),
        ("mocap run", clip.format("run"), motion.deepmimic("run", cycles=20)),
        (
            "mocap running jumps",
            clip.format("jump"),
            motion.deepmimic("jump", cycles=8),
        ),
    ):
        found.append(Clip(name=name, source=source, rate_hz=rate, floor=points - down))
    for name in ("crawl", "getup_faceup", "getup_facedown"):
        rate, points = motion.deepmimic(name)
        found.append(
            Clip(
                name=f"mocap {name}".replace("_", " "),
                source=f"DeepMimic {name} (MIT)",
                rate_hz=rate,
                floor=points - down,
                held_out=True,
            )
        )
    if CAR_FILE.is_file():
        rows = np.loadtxt(CAR_FILE).reshape(-1, 3, 4)[:, :, 3] * [1.0, 0.0, -1.0]
        n = int(CAR_S * 10)
        for name, first in (("car", 0), ("car, later", n), ("car, last", 3 * n)):
            found.append(
                Clip(
                    name=name,
                    source="KITTI odometry 00 (CC BY-NC-SA 3.0, from memory)",
                    rate_hz=10.0,
                    floor=rows[first : first + n],
                    size=0.2,
                    held_out=True,
                )
            )
    if DRONE_FILE.is_file():
        rows = np.loadtxt(DRONE_FILE, delimiter=",", usecols=(1, 2, 3))[::DRONE_EVERY]
        found.append(
            Clip(
                name="drone",
                source="EuRoC V1_02 (terms not stated in the archive)",
                rate_hz=200.0 / DRONE_EVERY,
                floor=rows[:, [0, 2, 1]] * [1.0, 1.0, -1.0],
                size=0.2,
                held_out=True,
            )
        )
    return found


def staged(clip: Clip, rig: str, crew: Crew) -> Shot:
    """Return the shot of a clip on `sticks` or a `track`."""
    level = clip.floor[:, [0, 2]]
    middle = level.mean(axis=0)
    axes = np.linalg.svd(level - middle, full_matrices=False)[2]
    # Turned so that the long axis lies along X, and nothing of the handedness changes.
    along, depth = axes[0], np.array([-axes[0][1], axes[0][0]])
    floor = np.column_stack(
        [(level - middle) @ along, clip.floor[:, 1], (level - middle) @ depth]
    )
    asked = framing(clip.size, focal_mm=FOCAL_MM)
    z = floor[:, 2].max() + asked.distance_m
    rate = Fraction(clip.rate_hz).limit_denominator(1001)
    person = subject(floor, rate, first=0)
    low, high = floor[:, 0].min(), floor[:, 0].max()
    place: Rig = make_sticks([0.0, LENS_HEIGHT_M, z])
    if rig == "track":
        place = make_track([low, LENS_HEIGHT_M, z], [high, LENS_HEIGHT_M, z])
    last = int(person.times_s[-1] * float(RATE))
    return shot(
        person,
        place,
        rate=RATE,
        crew=crew,
        focal_mm=FOCAL_MM,
        framings=(asked,),
        first=0,
        last=last,
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class Row:
    """One solver on one clip and rig; angles in degrees, None where it means nothing.

    `over_limit` is the largest of pan and tilt acceleration over the operator's limit;
    `restless` the share of the pan speed's r.m.s. above 1 Hz, `above_1_hz` the r.m.s.
    of pan and tilt speed above 1 Hz; `still_share` the
    time in which neither turns faster than 0.3 deg/s; `corrections_per_s` the peaks of
    pan and tilt speed, `decisions_per_s` the crew's own count.
    """

    clip: str
    rig: str
    solver: str
    seconds: float
    in_frame: float
    edge_approaches: int
    miss_rms: float
    lag_s: float | None
    first_s: float
    visible_s: float | None
    corrections_per_s: float
    decisions_per_s: float | None
    over_limit: float
    restless: float | None
    dolly_over_limit: float
    above_1_hz: float
    still_share: float
    moving_axes: int


def edges(values: FloatArray) -> int:
    """Count how often the action-safe edge is passed outwards."""
    out = np.abs(values).max(axis=0) > SAFE
    return int((~out[:-1] & out[1:]).sum())


def speed_peaks(speed: FloatArray) -> int:
    """Count turning points of a speed that stand out by 2 deg/s from the last."""
    count, low, high, rising = 0, speed[0], speed[0], True
    for value in speed:
        low, high = min(low, value), max(high, value)
        if rising and value < high - PEAK_RAD_S:
            count, rising, low = count + 1, False, value
        elif not rising and value > low + PEAK_RAD_S:
            count, rising, high = count + 1, True, value
    return count


def fast_part(speed: FloatArray, rate: float) -> float:
    """Return the r.m.s. of a speed above 1 Hz."""
    tapered = (speed - speed.mean()) * np.hanning(len(speed))
    power = np.abs(np.fft.rfft(tapered)) ** 2
    fast = np.fft.rfftfreq(len(speed), 1 / rate) > FILTER_HZ
    # The mean square of the window is 3/8.
    return float(np.sqrt(2 * power[fast].sum() / len(speed) ** 2 / 0.375))


def lag_of(camera: FloatArray, wanted: FloatArray, times: FloatArray) -> float | None:
    """Return the delay at which the pan rate fits best the rate that was wanted."""
    if np.sqrt(np.mean(wanted**2)) < LEAST_PAN_RAD_S:
        return None
    inside = (times > times[0] + 1) & (times < times[-1] - 1)
    errors = [
        np.mean((camera - np.interp(times - lag, times, wanted))[inside] ** 2)
        for lag in LAGS_S
    ]
    return round(float(LAGS_S[int(np.argmin(errors))]), 3)


def judge(one: Shot, moves: Moves) -> dict[str, float | int | None]:
    """Return a solver's figures on a shot, the fields of `Row`."""
    rate = float(one.rate)
    tx, ty = one.tangents
    points = aimed_at(one, moves.times_s)
    base = one.rig.places(moves.rail)
    u, v, _ = project(points, base, moves.pan, moves.tilt, 0.0, tx, ty)
    screen = np.stack([u, v])
    asked = one.framings[0]
    speeds = [np.gradient(x, moves.times_s) for x in (moves.pan, moves.tilt)]
    accels = [np.gradient(x, moves.times_s) for x in speeds]
    d = points - base
    bearing = np.gradient(np.unwrap(np.arctan2(-d[:, 0], -d[:, 2])), moves.times_s)
    rail_speed = np.gradient(moves.rail, moves.times_s)
    rail_accel = np.gradient(rail_speed, moves.times_s)
    seconds = len(u) / rate
    operator, grip = one.crew.operator, one.crew.grip
    miss = np.clip(np.hypot(u - asked.u, v - asked.v), 0, 3)
    moving = [np.abs(s).max() > STILL_RAD_S for s in speeds]
    return {
        "seconds": seconds,
        "in_frame": float((np.abs(screen).max(axis=0) <= 1).mean()),
        "edge_approaches": edges(screen),
        "miss_rms": float(np.sqrt(np.mean(miss**2))),
        "lag_s": lag_of(speeds[0], bearing, moves.times_s),
        "corrections_per_s": sum(map(speed_peaks, speeds)) / seconds,
        "decisions_per_s": None
        if moves.decisions is None
        else moves.decisions / seconds,
        "over_limit": float(max(np.abs(a).max() for a in accels) / operator.max_accel),
        "dolly_over_limit": float(np.abs(rail_accel).max() / grip.max_accel),
        "restless": None
        if np.sqrt(np.mean(speeds[0] ** 2)) < LEAST_PAN_RAD_S
        else restlessness(moves.pan, 1.0 / rate)[0],
        "above_1_hz": float(
            np.degrees(np.hypot(*(fast_part(s, rate) for s in speeds)))
        ),
        "still_share": float((np.hypot(*speeds) < REST_RAD_S).mean()),
        "moving_axes": int(sum(moving) + (np.abs(rail_speed).max() > STILL_M_S)),
    }


def clip_rows(recorded: Iterable[Clip]) -> Iterator[Row]:
    """Yield clips on both rigs with every solver; the crew is a job's default."""
    for clip in recorded:
        for rig in ("sticks", "track"):
            one = staged(clip, rig, preset("brisk"))
            for name, solver in SOLVERS.items():
                figures = judge(one, solver(one))
                reading = asdict(read_ahead(one, solver))
                yield Row(clip=clip.name, rig=rig, solver=name, **figures, **reading)


def football_restlessness(crew: Crew) -> tuple[float, float]:
    """Return a crew's restlessness on football from sticks, means over the clips.

    Share of the pan speed's r.m.s. above 1 Hz, and speed peaks a second.
    """
    found = []
    for clip in clips():
        if clip.name.startswith("football"):
            moves = SOLVERS["crew"](staged(clip, "sticks", crew))
            found.append(restlessness(moves.pan, 1.0 / float(RATE)))
    share, peaks = np.array(found).mean(axis=0).tolist()
    return share, peaks
