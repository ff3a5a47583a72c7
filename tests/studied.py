"""Cameras to study: takes of known crews and plain ways, rounded, noisy, resampled."""

from dataclasses import replace
from fractions import Fraction
from typing import NamedTuple

import motion
import numpy as np
from numpy.typing import NDArray
from shots import GATE, LENS_HEIGHT_M, framing, shot, subject

from carrellata.solver.action.subject import Subject
from carrellata.solver.optics.camera import aim
from carrellata.solver.presets import PRESETS, Member
from carrellata.solver.rigs.arc import arc as make_arc
from carrellata.solver.rigs.sticks import sticks as make_sticks
from carrellata.solver.rigs.track import track as make_track
from carrellata.solver.shake import LEVELS
from carrellata.solver.shot import Shot
from carrellata.solver.studies.camera import CameraMove, angles_of
from carrellata.solver.take import Take, operate

FloatArray = NDArray[np.float64]

FOCAL_MM = 50.0
RATE = Fraction(24)


class Known(NamedTuple):
    """A camera to study, the shot it was taken on, and the take."""

    camera: CameraMove
    shot: Shot
    take: Take


def clip(name: str) -> tuple[float, FloatArray]:
    """Return a recording's rate and floor points, its long axis along X."""
    if name in motion.football_stretches():
        rate, points = motion.football_stretches()[name]
    else:
        rate, points = motion.cmu_jumps() if name == "jumps" else motion.cmu_climbing()
        points = points - [0.0, 0.9, 0.0]
    level = points[:, [0, 2]] - points[:, [0, 2]].mean(axis=0)
    along = np.linalg.svd(level, full_matrices=False)[2][0]
    depth = np.array([-along[1], along[0]])
    return rate, np.column_stack([level @ along, points[:, 1], level @ depth])


def person(name: str, *, still_s: float = 0.0) -> Subject:
    """Return a recording as a subject; it stands for `still_s` before it moves."""
    rate, floor = clip(name)
    held = np.repeat(floor[:1], round(still_s * rate), axis=0)
    even = Fraction(rate).limit_denominator(1001)
    return subject(np.concatenate([held, floor]), even, first=0)


def staged(one: Subject, rig: str, seconds: float) -> Shot:
    """Return a shot of a subject from sticks, a track or an arc."""
    asked = framing("full", focal_mm=FOCAL_MM)
    z = float(one.floor[:, 2].max()) + asked.distance_m
    low, high = float(one.floor[:, 0].min()), float(one.floor[:, 0].max())
    place = {
        "sticks": lambda: make_sticks([0.0, LENS_HEIGHT_M, z]),
        "track": lambda: make_track([low, LENS_HEIGHT_M, z], [high, LENS_HEIGHT_M, z]),
        "arc": lambda: make_arc(
            [0.0, LENS_HEIGHT_M, z - 12.0], radius=12.0, start=np.pi - 1.0, sweep=2.0
        ),
    }[rig]()
    last = min(int(one.times_s[-1] * float(RATE)), round(seconds * float(RATE)))
    return shot(
        one, place, rate=RATE, focal_mm=FOCAL_MM, framings=(asked,), first=0, last=last
    )


def taken(
    name: str,
    rig: str,
    *,
    seconds: float = 15.0,
    preset: str = "brisk",
    operator: dict[str, float] | None = None,
    shake: str = "locked",
    seed: int = 0,
    noise_deg: float = 0.01,
    resampled_hz: float | None = None,
) -> Known:
    """Return a take by a known crew, rounded to 0.01 degrees and 1 mm, with noise.

    It holds a point of the body at a place on the screen, which is what a study tries;
    the headroom rule is off, as a `place` in a job switches it off.
    """
    one = staged(person(name), rig, seconds)
    crew = PRESETS[preset]
    member: Member = replace(crew.operator, **(operator or {}))
    asked = replace(one.framings[0], u=0.12, v=one.framings[0].v - 0.05, crown_v=np.nan)
    made = replace(
        one,
        crew=replace(crew, operator=member),
        framings=(asked,),
        shake=LEVELS[shake],
        seed=seed,
    )
    take = operate(made)
    angles = np.stack(angles_of(take.turn))
    camera = camera_of(
        take.times_s, take.place, angles, noise_deg=noise_deg, hz=resampled_hz
    )
    return Known(camera, made, take)


def camera_of(
    times: FloatArray,
    place: FloatArray,
    angles: FloatArray,
    *,
    noise_deg: float = 0.01,
    hz: float | None = None,
    focal_mm: float = FOCAL_MM,
) -> CameraMove:
    """Return curves as somebody else would hand them over."""
    if hz is not None:
        even = np.arange(times[0], times[-1], 1 / hz)
        place = np.column_stack([np.interp(even, times, c) for c in place.T])
        angles = np.stack([np.interp(even, times, row) for row in angles])
        times = even
    rng = np.random.default_rng(7)
    noisy = np.degrees(angles) + rng.normal(0, noise_deg, angles.shape)
    pan, tilt, roll = np.radians(np.round(noisy, 2))
    return CameraMove(
        times_s=times,
        place=np.round(place, 3),
        pan=pan,
        tilt=tilt,
        roll=roll,
        focal_mm=np.full(len(times), focal_mm),
        gate=GATE,
    )


def exactly_aimed(one: Shot) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return times, lens places and angles of a camera on sticks that aims exactly."""
    times = one.times_of(np.arange(one.first, one.last + 1, dtype=np.float64))
    place = np.repeat(one.rig.places(np.zeros(1)), len(times), axis=0)
    asked = one.framings[0]
    points = one.subjects[0].at(times, asked.aim)
    pan, tilt, _ = aim(points - place, asked.u, asked.v, 0.0, *one.tangents)
    return times, place, np.stack([np.unwrap(pan), tilt, 0 * pan])
