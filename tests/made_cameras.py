"""Cameras made in known ways, for the study to name: kinds, motions, aimed points.

A camera stands on sticks, or is carried. It aims at a point of the body which the study
is not told, holds it beside the middle of the frame, and is rounded to 0.01 degrees and
1 mm, with noise of 0.01 degrees.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import product
from zlib import crc32

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from shaken import shaken
from shots import acted, bouncing, walk
from studied import camera_of, person, staged

from carrellata.solver.action.subject import Subject
from carrellata.solver.optics.camera import aim
from carrellata.solver.presets import PRESETS
from carrellata.solver.shake import LEVELS, shake_layer
from carrellata.solver.shot import Shot
from carrellata.solver.studies.camera import CameraMove, angles_of, lagged, smoothed
from carrellata.solver.studies.follow import shifted
from carrellata.solver.studies.study import (
    CARRIED,
    CREW,
    HELD,
    LAGGED,
    NOT_FOLLOWING,
    RIGID,
    SMOOTHED,
)
from carrellata.solver.take import operate

FloatArray = NDArray[np.float64]

FRAMES = 240
HELD_U, HELD_V = 0.12, -0.05
LATE_S, LAG_S, DELAY_S, WIDTH_S, KEYS_S = 5 / 24, 0.3, 3 / 24, 0.4, 2.0
MOTIONS = ("referee_turns", "sprint_long", "runner_late", "jumps", "gait")
# Above the expected point, and to the right of it across the line of sight [m].
POINTS = {
    "expected": (0.0, 0.0),
    "2.8 cm up": (0.028, 0.0),
    "20 cm down": (-0.2, 0.0),
    "5 cm up, 10 cm beside": (0.05, 0.1),
}
PRESET_NAMES = ("steady", "brisk", "sharp", "heavy_head")
Change = Callable[[FloatArray], FloatArray]
PLAIN: dict[str, tuple[str, Change]] = {
    "rigid aim": (RIGID, lambda x: x),
    "delayed aim": (RIGID, lambda x: shifted(x, LATE_S * 24)),
    "low-pass": (LAGGED, lambda x: lagged(x, LAG_S * 24)),
    "delayed low-pass": (
        LAGGED,
        lambda x: shifted(lagged(x, LAG_S * 24), DELAY_S * 24),
    ),
    "two-sided smoothing": (SMOOTHED, lambda x: smoothed(x, WIDTH_S * 24)),
    "locked": (HELD, lambda x: np.repeat(x.mean(1, keepdims=True), x.shape[1], 1)),
    "keys by hand": (NOT_FOLLOWING, lambda x: _keyed(x)),
}
KINDS = {
    **dict.fromkeys(PRESET_NAMES, CREW),
    **{name: kind for name, (kind, _) in PLAIN.items()},
    "carried": CARRIED,
}


@dataclass(frozen=True, kw_only=True, slots=True)
class Made:
    """A camera to study, and how it was made."""

    kind: str
    motion: str
    point: str
    shaken: bool
    camera: CameraMove
    subject: Subject

    @property
    def truth(self) -> str:
        """What a study has to call it."""
        return KINDS[self.kind]


def _keyed(exact: FloatArray) -> FloatArray:
    """Return a key of exact aim every two seconds, drawn through by a cubic."""
    keys = np.arange(0, exact.shape[1] + round(KEYS_S * 24), round(KEYS_S * 24))
    keys = np.minimum(keys, exact.shape[1] - 1)
    keys = np.unique(keys)
    out: FloatArray = CubicSpline(keys, exact[:, keys], axis=1)(
        np.arange(exact.shape[1])
    )
    return out


@lru_cache(maxsize=16)
def _staged(motion: str) -> Shot:
    if motion == "gait":
        one = acted(bouncing(walk(1.4, start=(-7.0, 0.0, 0.0))), 10.0, first=0)
    else:
        one = person(motion)
    return staged(one, "sticks", (FRAMES - 1) / 24)


def looked_at(shot: Shot, point: str) -> Subject:
    """Return a subject whose expected point is the one that is looked at."""
    up, beside = POINTS[point]
    one = shot.subjects[0]
    place = shot.rig.places(np.zeros(1))[0]
    sight = (one.floor - place)[:, [0, 2]]
    sight = sight / np.linalg.norm(sight, axis=1, keepdims=True)
    off = np.column_stack(
        [-sight[:, 1] * beside, np.full(len(sight), up), sight[:, 0] * beside]
    )
    return replace(one, floor=one.floor + off, eyes=one.eyes + off)


def make(kind: str, motion: str, point: str, shakes: bool, draw: int = 0) -> Made:
    """Make one camera; the same words and the same draw make the same."""
    seed = crc32(f"{kind}/{motion}/{point}/{shakes}".encode()) % 10_000 + draw
    shot = _staged(motion)
    one = shot.subjects[0]
    # A camera on the body is always on the same side of it, wherever it looks.
    subject = one if kind == "carried" else looked_at(shot, point)
    shot = replace(
        shot,
        subjects=(subject,),
        shake=LEVELS["shoulder" if shakes else "locked"],
        framings=(
            replace(
                shot.framings[0],
                u=HELD_U,
                v=shot.framings[0].v + HELD_V,
                crown_v=np.nan,
            ),
        ),
        seed=seed,
    )
    times, place, angles = _moved(kind, shot, POINTS[point])
    camera = camera_of(times, place, angles)
    return Made(
        kind=kind,
        motion=motion,
        point=point,
        shaken=shakes,
        camera=camera,
        subject=one,
    )


def _moved(
    kind: str, shot: Shot, beside: tuple[float, float]
) -> tuple[FloatArray, FloatArray, FloatArray]:
    if kind in PRESET_NAMES:
        crew = replace(PRESETS[kind], variability=1.0)
        take = operate(replace(shot, crew=crew))
        return take.times_s, take.place, np.stack(angles_of(take.turn))
    times = shot.times_of(np.arange(shot.first, shot.last + 1, dtype=np.float64))
    asked, one = shot.framings[0], shot.subjects[0]
    points = one.at(times, asked.aim)
    if kind == "carried":
        place = points + np.array([0.9, 0.3, 1.6])
        points = points + np.array([beside[1], beside[0], 0.0])
    else:
        place = np.repeat(shot.rig.places(np.zeros(1)), len(times), axis=0)
    pan, tilt, _ = aim(points - place, asked.u, asked.v, 0.0, *shot.tangents)
    exact = np.stack([np.unwrap(pan), tilt])
    change = PLAIN[kind][1] if kind in PLAIN else lambda x: x
    angles = np.vstack([change(exact), np.zeros(len(times))])
    layer = shake_layer(
        shot.shake,
        times_s=times,
        seed=shot.seed,
        focal_mm=shot.lens.focal_mm,
        gate=shot.gate,
    )
    shift = np.column_stack([layer.x, layer.y, layer.z])
    place, turn = shaken(
        place, angles, shift, np.stack([layer.pan, layer.tilt, layer.roll])
    )
    return times, place, np.stack(angles_of(turn))


def every() -> Iterator[tuple[str, str, str, bool]]:
    """Yield the words of all 480 cameras."""
    yield from product(KINDS, MOTIONS, POINTS, (False, True))
