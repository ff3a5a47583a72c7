"""The action of a shot as a judge and a grip who saw the rehearsal know it.

Everything here reads the whole shot, both ways in time: it lays tracks and judges
takes. The crew never sees it.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from ..arrays import BoolArray, FloatArray, IntArray
from ..elementary.arrays import arctangents, lengths, logarithms2, sines_cosines
from ..elementary.length import hypot
from .acted import hidden_at
from .body import EYES
from .framing import Framing, angle_range, framing_at, primary_of
from .smooth import smoothed
from .steady import moves_evenly
from .subject import Subject

SMOOTH_S = 0.35  # over which a heading is read
WALKING_M_S = 0.5  # slower, and the last heading is kept
NET_SHARE = 0.35  # of the path that must be net displacement to be the main heading
NET_M = 0.7


class Action(NamedTuple):
    """The subjects over n frames, and what is asked of the frame, as kernels read it.

    Attributes:
        times_s: of the frames, (n,).
        aim, top, low, eyes: points of the primary subject, (n, 3) [m]: where the frame
            is held, and the ends of the named span.
        seen: frames at which the primary is to be seen, (n,).
        framing: index of the framing in force, (n,).
        primary: index of the primary subject, (n,).
        asked_log2: log2 of the asked size, a share of the frame height, (n,).
        ratio: asked distance over the shot's first, (n,).
        centre: weighted aim point of all subjects, (n, 3) [m].
        held: eyes of the other subjects who must be held, (k, n, 3) [m]; NaN while not.
        held_by: whose they are, (k,).
        crown_v: height of the crown at the asked size and place, counted from the lens
            axis, (n,) [half frames]; NaN where the size cuts it.
        tops: upper end of the named span, of stature, (n,).
        walked: place of the primary over a stride, (n, 3) [m].
        even: frames at which it moves evenly, (n,).
        bodies: feet and crown of all subjects, (n_subjects, 2, n, 3) [m].
        heading: of the primary's travel, (n,) [rad].
        ahead: sine and cosine of the heading, (n, 2).
        main: the heading that views are counted from [rad].
        rise: least and greatest tangent of the lens's angle over the eyes, (n, 2).
        ground_m: height of the ground, the lowest foot [m].
    """

    times_s: FloatArray
    aim: FloatArray
    top: FloatArray
    low: FloatArray
    eyes: FloatArray
    seen: BoolArray
    framing: IntArray
    primary: IntArray
    asked_log2: FloatArray
    ratio: FloatArray
    centre: FloatArray
    held: FloatArray
    held_by: IntArray
    crown_v: FloatArray
    tops: FloatArray
    walked: FloatArray
    even: BoolArray
    bodies: FloatArray
    heading: FloatArray
    ahead: FloatArray
    main: float
    rise: FloatArray
    ground_m: float

    @property
    def resizes(self) -> bool:
        """Whether the asked size changes within the shot."""
        return bool(np.ptp(self.ratio) > 0)

    @property
    def n_frames(self) -> int:
        """Frames of the cut."""
        return len(self.times_s)


def action_of(
    subjects: Sequence[Subject],
    framings: Sequence[Framing],
    times: FloatArray,
    rate: float,
    ty: float,
) -> Action:
    """Return the action at the frames of a cut.

    Args:
        subjects: who moves.
        framings: what is asked of the frame, ascending in start.
        times: of the frames, (n,) [s].
        rate: frames a second.
        ty: tangent of half the vertical angle of view, of the lens for which the
            framings give their distances.
    """
    framing = framing_at(framings, times)
    primary = primary_of(framings)[framing]
    bodies = np.array([[s.at(times, 0.0), s.at(times, 1.0 / EYES)] for s in subjects])
    feet, crown = bodies[:, 0], bodies[:, 1]

    def of_primary(fractions: FloatArray) -> FloatArray:
        share = fractions[framing][:, None]
        n = np.arange(len(times))
        foot = feet[primary, n]
        points: FloatArray = foot + (crown[primary, n] - foot) * share
        return points

    aims = np.array([f.aim * EYES for f in framings])
    weights = np.array([f.weights for f in framings])[framing].T
    aim_each = feet + (crown - feet) * aims[framing][None, :, None]
    eyes_each = feet + (crown - feet) * EYES
    share = weights / weights.sum(axis=0)
    held_by = [
        k
        for k, subject in enumerate(subjects)
        if subject.must_hold and ((weights[k] > 0) & (primary != k)).any()
    ]
    others = [
        np.where((weights[k] > 0)[:, None], eyes_each[k], np.nan) for k in held_by
    ]
    distances = np.array([f.distance_m for f in framings])[framing]
    walked = of_primary(np.zeros(len(framings)))
    rise = np.array([angle_range(f.angle) for f in framings])[framing]
    main, heading = _headings(subjects, times, rate, walked, int(primary[0]))
    place, _, even = moves_evenly(times, walked)
    return Action(
        times_s=times,
        aim=of_primary(aims),
        top=of_primary(np.array([f.top for f in framings])),
        low=of_primary(np.array([f.bottom for f in framings])),
        eyes=of_primary(np.full(len(framings), EYES)),
        seen=~hidden_at(subjects, times, primary),
        framing=framing,
        primary=primary,
        asked_log2=_asked_log2(subjects, framings, ty, framing, primary),
        ratio=distances / framings[0].distance_m,
        centre=np.einsum("kn,knc->nc", share, aim_each),
        held=np.array(others).reshape(len(others), len(times), 3),
        held_by=np.array(held_by, dtype=np.int64),
        crown_v=_crown_v(subjects, framings, ty, framing, primary),
        tops=np.array([f.top for f in framings])[framing],
        walked=place,
        even=even,
        bodies=bodies,
        heading=heading,
        ahead=np.column_stack((*sines_cosines(heading),)),
        main=main,
        rise=_slopes(np.clip(rise, -np.pi / 2, np.pi / 2)),
        ground_m=float(feet[..., 1].min()),
    )


def sized_anew(
    action: Action, subjects: Sequence[Subject], framings: Sequence[Framing], ty: float
) -> Action:
    """Return the action with framings that are all larger or smaller by as much.

    Args:
        action: as it was.
        subjects: who moves.
        framings: the same but for their distances.
        ty: tangent of half the vertical angle of view.
    """
    given = subjects, framings, ty, action.framing, action.primary
    return action._replace(asked_log2=_asked_log2(*given), crown_v=_crown_v(*given))


def _asked_log2(
    subjects: Sequence[Subject],
    framings: Sequence[Framing],
    ty: float,
    framing: IntArray,
    primary: IntArray,
) -> FloatArray:
    """Return log2 of the asked size, a share of the frame height, (n,)."""
    heights = np.array([subjects[k].height_m for k in primary])
    spans = np.array([f.top - f.bottom for f in framings])[framing]
    distances = np.array([f.distance_m for f in framings])[framing]
    asked: FloatArray = logarithms2(spans * heights / (2 * ty * distances))
    return asked


def _crown_v(
    subjects: Sequence[Subject],
    framings: Sequence[Framing],
    ty: float,
    framing: IntArray,
    primary: IntArray,
) -> FloatArray:
    """Return where the crown is asked to be, from the lens axis, (n,) [half frames]."""
    heights = np.array([subjects[k].height_m for k in primary])
    over = np.array([1.0 - f.aim * EYES for f in framings])[framing] * heights
    frames = np.array([f.distance_m for f in framings])[framing] * ty
    asked = np.array([f.v for f in framings])[framing] + over / frames
    uncut = np.array([f.top for f in framings])[framing] >= 1.0 - 1e-9
    return np.where(uncut, asked, np.nan)


def _slopes(rises: FloatArray) -> FloatArray:
    """Return the tangents of angles [rad]."""
    sines, cosines = sines_cosines(rises)
    return sines / cosines


def bearing_of(step: FloatArray) -> FloatArray:
    """Return bearings about the up axis of vectors (..., 3) [rad], 0 along -Z."""
    return arctangents(-step[..., 0], -step[..., 2])


def _headings(
    subjects: Sequence[Subject],
    times: FloatArray,
    rate: float,
    walked: FloatArray,
    primary: int,
) -> tuple[float, FloatArray]:
    """Return the main heading and the heading at each frame [rad]."""
    smooth = smoothed(walked, SMOOTH_S * rate / 2)
    speed = np.gradient(smooth, times, axis=0) if len(times) > 1 else 0 * smooth
    pace = lengths(speed[:, 0], speed[:, 2])
    moving = np.flatnonzero(pace > WALKING_M_S)
    net = walked[-1] - walked[0]
    net_m = hypot(net[0], net[2])
    steps = np.diff(smooth[:, [0, 2]], axis=0)
    path_m = float(lengths(steps[:, 0], steps[:, 1]).sum())
    if net_m > NET_M and net_m > NET_SHARE * path_m:
        main = float(bearing_of(net))
    elif len(moving):
        main = float(bearing_of(speed[moving[0]]))
    else:
        main = _standing(subjects, times, walked, primary)
    heading = np.full(len(times), main)
    if len(moving):
        bearings = bearing_of(speed)
        last = np.maximum.accumulate(
            np.where(pace > WALKING_M_S, np.arange(len(pace)), -1)
        )
        heading = np.where(last >= 0, bearings[np.maximum(last, 0)], main)
        heading[: moving[0]] = bearings[moving[0]]
    return main, heading


def _standing(
    subjects: Sequence[Subject], times: FloatArray, walked: FloatArray, primary: int
) -> float:
    """Return which way someone who stands is turned: gaze, else the one beside them."""
    facing = subjects[primary].facing_rad
    known = facing[np.isfinite(facing)]
    if len(known):
        return float(known[0])
    for k, other in enumerate(subjects):
        if k != primary:
            toward = other.at(times[:1], 0.0)[0]
            return float(bearing_of(toward - walked[0]))
    return 0.0
