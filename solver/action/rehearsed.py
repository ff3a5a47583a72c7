"""The action of a shot as a judge and a grip who saw the rehearsal know it.

Everything here reads the whole shot, both ways in time: it lays tracks and judges
takes. The crew never sees it.
"""

from dataclasses import dataclass, replace

import numpy as np

from ..arrays import BoolArray, FloatArray, IntArray
from ..crew.perform import framing_at, primary_of
from ..frame.measure import angle_range
from ..shot import Shot
from ..take import hidden_at
from .body import EYES

SMOOTH_S = 0.35  # over which a heading is read
WALKING_M_S = 0.5  # slower, and the last heading is kept
NET_SHARE = 0.35  # of the path that must be net displacement to be the main heading
NET_M = 0.7


@dataclass(frozen=True, kw_only=True, slots=True)
class Action:
    """A shot's subjects over the n frames of the cut, and what is asked of the frame.

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
        held: aim points of the other subjects who must be held, (k, n, 3) [m].
        bodies: feet and crown of all subjects, (n_subjects, 2, n, 3) [m].
        heading: of the primary's travel, (n,) [rad].
        main: the heading that views are counted from [rad].
        rise: least and greatest angle of the lens over the eyes, (n, 2) [rad].
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
    bodies: FloatArray
    heading: FloatArray
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


def action_of(shot: Shot) -> Action:
    """Return the action of a shot; nothing in it depends on the setup."""
    frames = np.arange(shot.first, shot.last + 1)
    times = shot.times_of(frames.astype(np.float64))
    framing = framing_at(shot, times)
    primary = primary_of(shot)[framing]
    bodies = np.array(
        [[s.at(times, 0.0), s.at(times, 1.0 / EYES)] for s in shot.subjects]
    )
    feet, crown = bodies[:, 0], bodies[:, 1]

    def of_primary(fractions: FloatArray) -> FloatArray:
        share = fractions[framing][:, None]
        n = np.arange(len(times))
        foot = feet[primary, n]
        points: FloatArray = foot + (crown[primary, n] - foot) * share
        return points

    aims = np.array([f.aim * EYES for f in shot.framings])
    weights = np.array([f.weights for f in shot.framings])[framing].T
    aim_each = feet + (crown - feet) * aims[framing][None, :, None]
    share = weights / weights.sum(axis=0)
    others = [
        np.where((weights[k] > 0)[:, None], aim_each[k], np.nan)
        for k, subject in enumerate(shot.subjects)
        if subject.must_hold and ((weights[k] > 0) & (primary != k)).any()
    ]
    distances = np.array([f.distance_m for f in shot.framings])[framing]
    walked = of_primary(np.zeros(len(shot.framings)))
    main, heading = _headings(shot, times, walked, int(primary[0]))
    return Action(
        times_s=times,
        aim=of_primary(aims),
        top=of_primary(np.array([f.top for f in shot.framings])),
        low=of_primary(np.array([f.bottom for f in shot.framings])),
        eyes=of_primary(np.full(len(shot.framings), EYES)),
        seen=~hidden_at(shot, times, primary),
        framing=framing,
        primary=primary,
        asked_log2=_asked_log2(shot, framing, primary),
        ratio=distances / shot.framings[0].distance_m,
        centre=np.einsum("kn,knc->nc", share, aim_each),
        held=np.array(others).reshape(len(others), len(times), 3),
        bodies=bodies,
        heading=heading,
        main=main,
        rise=np.array([angle_range(f.angle) for f in shot.framings])[framing],
        ground_m=float(feet[..., 1].min()),
    )


def sized_anew(action: Action, shot: Shot) -> Action:
    """Return the action of a shot whose framings are all larger or smaller by as much.

    Args:
        action: of the shot as it was.
        shot: the same but for the distances of its framings.
    """
    return replace(action, asked_log2=_asked_log2(shot, action.framing, action.primary))


def _asked_log2(shot: Shot, framing: IntArray, primary: IntArray) -> FloatArray:
    """Return log2 of the asked size, a share of the frame height, (n,)."""
    ty = shot.tangents[1]
    heights = np.array([shot.subjects[k].height_m for k in primary])
    spans = np.array([f.top - f.bottom for f in shot.framings])[framing]
    distances = np.array([f.distance_m for f in shot.framings])[framing]
    asked: FloatArray = np.log2(spans * heights / (2 * ty * distances))
    return asked


def bearing_of(step: FloatArray) -> FloatArray:
    """Return bearings about the up axis of vectors (..., 3) [rad], 0 along -Z."""
    bearing: FloatArray = np.arctan2(-step[..., 0], -step[..., 2])
    return bearing


def _headings(
    shot: Shot, times: FloatArray, walked: FloatArray, primary: int
) -> tuple[float, FloatArray]:
    """Return the main heading and the heading at each frame [rad]."""
    # Imported here: most commands judge nothing, and this takes a while to load.
    from scipy.ndimage import gaussian_filter1d

    rate = float(shot.rate)
    smooth = gaussian_filter1d(walked, SMOOTH_S * rate / 2, axis=0, mode="nearest")
    speed = np.gradient(smooth, times, axis=0) if len(times) > 1 else 0 * smooth
    pace = np.hypot(speed[:, 0], speed[:, 2])
    moving = np.flatnonzero(pace > WALKING_M_S)
    net = walked[-1] - walked[0]
    net_m = float(np.hypot(net[0], net[2]))
    steps = np.diff(smooth[:, [0, 2]], axis=0)
    path_m = float(np.hypot(steps[:, 0], steps[:, 1]).sum())
    if net_m > NET_M and net_m > NET_SHARE * path_m:
        main = float(bearing_of(net))
    elif len(moving):
        main = float(bearing_of(speed[moving[0]]))
    else:
        main = _standing(shot, walked, primary)
    heading = np.full(len(times), main)
    if len(moving):
        bearings = bearing_of(speed)
        last = np.maximum.accumulate(
            np.where(pace > WALKING_M_S, np.arange(len(pace)), -1)
        )
        heading = np.where(last >= 0, bearings[np.maximum(last, 0)], main)
        heading[: moving[0]] = bearings[moving[0]]
    return main, heading


def _standing(shot: Shot, walked: FloatArray, primary: int) -> float:
    """Return which way someone who stands is turned: gaze, else the one beside them."""
    facing = shot.subjects[primary].facing_rad
    known = facing[np.isfinite(facing)]
    if len(known):
        return float(known[0])
    for k, other in enumerate(shot.subjects):
        if k != primary:
            toward = other.at(shot.times_of(np.array([float(shot.first)])), 0.0)[0]
            return float(bearing_of(toward - walked[0]))
    return 0.0
