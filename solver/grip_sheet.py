"""The grip's sheet: what a take needs on the floor, planned from how it was operated.

Planning estimates, not clearances. Everything is of the lens, its entrance pupil: the
dolly's own length, its wheels and whoever pushes it come on top. All solved samples
count, the handles too; what is used in the cut is said apart.
"""

from dataclasses import dataclass
from math import ceil, floor

import numpy as np

from .action.body import EYES
from .arrays import FloatArray, IntArray
from .measures.measure import MOVING_M_S
from .rigs.laid import laid_track
from .take import Take

WORKING_MARGIN_M = 1.0  # on each side of the lens's path; common practice, no source
SECTION_M = 2.44  # eight feet of straight track; common practice, no source
_ROUNDING = 1e-6  # of a centimetre: less than this past one is no new one
_CURVE_STEPS = 721


@dataclass(frozen=True, kw_only=True, slots=True)
class Mark:
    """A place that the dolly has to hit.

    Attributes:
        what: `cut in`, `cue`, `stops`, `turns` or `cut out`.
        frame: on which the dolly is there.
        rail_m: lens from the near end of the laid track [m].
        height_m: of the lens over the ground [m].
        focus_m: distance at which the lens stands [m].
    """

    what: str
    frame: int
    rail_m: float
    height_m: float
    focus_m: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Approach:
    """The nearest that the lens comes to anybody: to whom, when, and how near [m]."""

    subject: str
    frame: int
    distance_m: float


@dataclass(frozen=True, kw_only=True, slots=True)
class GripSheet:
    """What has to be laid, and what is done on it; metres, radians, seconds, Y up.

    Attributes:
        rig: name of its kind.
        rail_m: length of the rail that the setup gives.
        used_m: of it covered in the cut.
        laid_m: covered with handles, run-up and run-out, outwards to the centimetre.
        laid: the same as rail positions, low and high; negative or beyond `rail_m`
            where the setup's rail is too short to start or to stop on.
        run_up_m: from a standstill to the speed of the first sample.
        run_out_m: from the speed of the last sample to a standstill.
        section_m: length of a section of straight track.
        sections: whole sections that cover `laid_m`; 0 on sticks and curves.
        radius_m: of an arc, else 0.
        sweep_rad: covered by the laid arc, >= 0, else 0.
        rise_m: height of the far end over the near end of the laid track.
        ends: lens at both ends of the laid track, (2, 3).
        heights_m: lowest and highest lens over the ground.
        marks: in order of time.
        max_speed_m_s: of the dolly.
        max_accel_m_s2: of the dolly.
        closest: of any subject's body, floor to crown.
        pan_rad: least and greatest pan of the cut, from where its first frame looks.
        tilt_rad: least and greatest tilt.
        space_m: along and across the laid track with `WORKING_MARGIN_M` on each side,
            on the ground; a curve is taken along its chord.
    """

    rig: str
    rail_m: float
    used_m: float
    laid_m: float
    laid: tuple[float, float]
    run_up_m: float
    run_out_m: float
    section_m: float
    sections: int
    radius_m: float
    sweep_rad: float
    rise_m: float
    ends: FloatArray
    heights_m: tuple[float, float]
    marks: tuple[Mark, ...]
    max_speed_m_s: float
    max_accel_m_s2: float
    closest: Approach
    pan_rad: tuple[float, float]
    tilt_rad: tuple[float, float]
    space_m: tuple[float, float]

    @property
    def beyond_m(self) -> tuple[float, float]:
        """How far the laid track reaches past the near and far end of the rail [m].

        Less than the centimetre to which it is rounded counts as nothing.
        """
        low, high = self.laid
        near, far = (
            over if over >= 0.01 else 0.0 for over in (-low, high - self.rail_m)
        )
        return near, far


def grip_sheet(
    take: Take, *, section_m: float = SECTION_M, ground_m: float = 0.0
) -> GripSheet:
    """Return what a take needs on the floor.

    Args:
        take: as operated.
        section_m: length of a section of straight track [m], > 0.
        ground_m: height of the ground [m].
    """
    rig = take.shot.rig
    grip = take.shot.crew.grip
    rail = take.rail
    cut = ~take.handle
    needed = laid_track(rail, max_accel=grip.max_accel, max_jerk=grip.max_jerk)
    laid = (
        floor(needed.low * 100 + _ROUNDING) / 100,
        ceil(needed.high * 100 - _ROUNDING) / 100,
    )
    laid_m = round(laid[1] - laid[0], 2)
    path = rig.places(np.linspace(*laid, 2 if rig.n_drawn < 3 else _CURVE_STEPS))
    heights = take.base[:, 1] - ground_m
    return GripSheet(
        rig=rig.kind,
        rail_m=rig.length_m,
        used_m=float(np.ptp(rail[cut, 0])),
        laid_m=laid_m,
        laid=laid,
        run_up_m=needed.run_up_m,
        run_out_m=needed.run_out_m,
        section_m=section_m,
        sections=ceil(laid_m / section_m - _ROUNDING) if rig.sectioned else 0,
        radius_m=rig.radius_m,
        sweep_rad=laid_m / rig.radius_m if rig.radius_m else 0.0,
        rise_m=float(path[-1, 1] - path[0, 1]),
        ends=path[[0, -1]],
        heights_m=(float(heights.min()), float(heights.max())),
        marks=_marks(take, laid[0], heights),
        max_speed_m_s=float(np.abs(rail[:, 1]).max()),
        max_accel_m_s2=float(np.abs(rail[:, 2]).max()),
        closest=_closest(take),
        pan_rad=_range(take.pan[cut, 0] - take.pan[cut, 0][0]),
        tilt_rad=_range(take.tilt[cut, 0]),
        space_m=_space(path),
    )


def _marks(take: Take, near: float, heights: FloatArray) -> tuple[Mark, ...]:
    shot = take.shot
    whats: dict[int, str] = {shot.first: "cut in", shot.last: "cut out"}
    for framing in shot.framings[1:]:
        frame = round(framing.start_s * float(shot.rate))
        if take.frame[0] <= frame <= take.frame[-1]:
            whats.setdefault(frame, "cue")
    for what, k in _halts(take.rail[:, 1]):
        whats.setdefault(int(take.frame[k]), what)
    frames = np.array(sorted(whats))
    at: IntArray = np.searchsorted(take.frame, frames)
    return tuple(
        Mark(
            what=whats[int(frame)],
            frame=int(frame),
            rail_m=float(take.rail[k, 0] - near),
            height_m=float(heights[k]),
            focus_m=float(take.focus_m[k]),
        )
        for frame, k in zip(frames, at, strict=True)
    )


def _halts(speed: FloatArray) -> list[tuple[str, int]]:
    """Return the samples at which the dolly comes to stand, or turns round."""
    moving = np.flatnonzero(np.abs(speed) > MOVING_M_S)
    if not len(moving):
        return []
    turns = speed[moving[:-1]] * speed[moving[1:]] < 0
    ends = turns | (np.diff(moving) > 1)
    halts = [
        ("turns" if turned else "stops", k + 1)
        for turned, k in zip(
            turns[ends].tolist(), moving[:-1][ends].tolist(), strict=True
        )
    ]
    last = int(moving[-1]) + 1
    return [*halts, ("stops", last)] if last < len(speed) else halts


def _closest(take: Take) -> Approach:
    """Return the nearest that the lens comes to a body, a line floor to crown."""
    nearest: list[Approach] = []
    for subject in take.shot.subjects:
        feet = subject.at(take.times_s, 0.0)
        body = subject.at(take.times_s, 1.0 / EYES) - feet
        off = take.base - feet
        square = np.maximum(np.einsum("nc,nc->n", body, body), 1e-12)
        share = np.clip(np.einsum("nc,nc->n", off, body) / square, 0.0, 1.0)
        gap = np.linalg.norm(off - share[:, None] * body, axis=1)
        k = int(gap.argmin())
        nearest.append(
            Approach(
                subject=subject.name,
                frame=int(take.frame[k]),
                distance_m=float(gap[k]),
            )
        )
    return min(nearest, key=lambda one: one.distance_m)


def _range(values: FloatArray) -> tuple[float, float]:
    return float(values.min()), float(values.max())


def _space(path: FloatArray) -> tuple[float, float]:
    """Return the sides of the room for a path of places (n, 3), along and across."""
    flat = path[:, [0, 2]]
    chord = flat[-1] - flat[0]
    length = float(np.hypot(*chord))
    along = chord / length if length > 1e-9 else np.array([1.0, 0.0])
    across = np.array([-along[1], along[0]])
    sides = (
        float(np.ptp(flat @ axis)) + 2 * WORKING_MARGIN_M for axis in (along, across)
    )
    first, second = sides
    return first, second
