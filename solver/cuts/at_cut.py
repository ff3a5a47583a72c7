"""The action at the ends of a shot: all that cuts are judged by but the camera.

Once a shot, whatever its setup. Bearings are about the up axis: 0 along -Z, positive
counter-clockwise seen from above. The line of action runs from one to the other of two
who are framed together, else along the subject's travel, else its last travel, else
from one to the other where the shot knows of two, else along its gaze.
"""

from dataclasses import dataclass
from math import atan2, hypot, pi

import numpy as np

from ..action.body import SIZES
from ..action.framing import Framing, framing_at, primary_of
from ..action.subject import Subject
from ..arrays import FloatArray
from ..shot import Shot

SMOOTH_S = 0.35  # over which a velocity is read
WALKING_M_S = 0.5  # slower, and the last travel is kept
LOOK_BACK_S = 0.1  # between the velocities from which the last travel is found
PAIR_M = 0.3  # two people nearer than this give no line

Point = tuple[float, float, float]


@dataclass(frozen=True, kw_only=True, slots=True)
class ActionAtCut:
    """What the action does at one frame of a shot.

    Attributes:
        frame, time_s: when; time zero is frame 0.
        subject: name of the primary.
        place, eyes: where it stands and its eyes [m]; velocity [m/s].
        line: pair, travel, last_travel, facing or none.
        line_of: whose line, `a` or `a|b`, names in order.
        line_rad: bearing of the line, of a pair from the first name to the second;
            None where there is none.
        span: named size asked, or "fill"; share: of the stature that it shows.
        stature_m: of the primary.
        others: name, floor point and speed of everyone else, ((name, x, y, z, m/s)).
    """

    frame: int
    time_s: float
    subject: str
    place: Point
    eyes: Point
    velocity: Point
    line: str
    line_of: str
    line_rad: float | None
    span: str
    share: float
    stature_m: float
    others: tuple[tuple[str, float, float, float, float], ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class CutAction:
    """The action where a shot begins and ends, and where it let others go.

    `left` has, for every subject that was primary and handed over inside the cut, its
    last frame as such, in order.
    """

    first: ActionAtCut
    last: ActionAtCut
    left: tuple[ActionAtCut, ...] = ()


def cut_action(shot: Shot, line: tuple[str, str] | None = None) -> CutAction:
    """Return the action at the ends of a shot's cut.

    Args:
        shot: as the solver sees it; setup and handles do not count.
        line: two subjects between whom the line of action is declared, for shots
            that frame only one of them; both have to be subjects of the shot.
    """
    frames = np.arange(shot.first, shot.last + 1)
    primary = primary_of(shot.framings)[
        framing_at(shot.framings, shot.times_of(frames.astype(np.float64)))
    ]
    left: dict[int, int] = {}
    for k in np.flatnonzero(np.diff(primary)):
        left.pop(int(primary[k]), None)
        left[int(primary[k])] = int(frames[k])
    left.pop(int(primary[-1]), None)
    return CutAction(
        first=_at_frame(shot, shot.first, line),
        last=_at_frame(shot, shot.last, line),
        left=tuple(_at_frame(shot, frame, line) for frame in left.values()),
    )


def bearing_rad(x: float, z: float) -> float:
    """Return the bearing of a level direction."""
    return atan2(-x, -z)


def _at_frame(shot: Shot, frame: int, line: tuple[str, str] | None) -> ActionAtCut:
    time = float(shot.times_of(np.array([float(frame)]))[0])
    framing = shot.framings[int(framing_at(shot.framings, np.array([time]))[0])]
    k = int(np.argmax(framing.weights))
    subject = shot.subjects[k]
    velocity = _velocity(subject, time)
    kind, whose, angle = _line(shot, framing, time, velocity, line)
    return ActionAtCut(
        frame=frame,
        time_s=time,
        subject=subject.name,
        place=_point(subject, time, 0.0),
        eyes=_point(subject, time, 1.0),
        velocity=velocity,
        line=kind,
        line_of=whose,
        line_rad=angle,
        span=_span_name(framing),
        share=framing.top - framing.bottom,
        stature_m=subject.height_m,
        others=tuple(
            (one.name, *_point(one, time, 0.0), hypot(*_velocity(one, time)))
            for one in shot.subjects
            if one is not subject
        ),
    )


def _point(subject: Subject, time: float, fraction: float) -> Point:
    x, y, z = subject.at(np.array([time]), fraction)[0].tolist()
    return x, y, z


def _velocity(subject: Subject, time: float) -> Point:
    """Return the mean velocity about a time, over what there is of the data."""
    x, y, z = _velocities(subject, np.array([time]))[0].tolist()
    return x, y, z


def _velocities(subject: Subject, times: FloatArray) -> FloatArray:
    first, last = subject.times_s[0], subject.times_s[-1]
    before = np.minimum(np.maximum(times - SMOOTH_S / 2, first), last)
    after = np.minimum(np.maximum(times + SMOOTH_S / 2, first), last)
    there = subject.at(np.concatenate([after, before]), 0.0)
    moved = there[: len(times)] - there[len(times) :]
    span = (after - before)[:, None]
    return np.where(span > 1e-6, moved / np.maximum(span, 1e-6), 0.0)


def _line(
    shot: Shot,
    framing: Framing,
    time: float,
    velocity: Point,
    declared: tuple[str, str] | None,
) -> tuple[str, str, float | None]:
    """Return the kind of the line of action, whose it is, and its bearing.

    `velocity` is that of the primary at the time.
    """
    pair = _pair(shot, framing, declared)
    line = None if pair is None else _between(pair, time)
    if line is not None:
        return line
    subject = shot.subjects[int(np.argmax(framing.weights))]
    x, _, z = velocity
    if hypot(x, z) >= WALKING_M_S:
        return "travel", subject.name, bearing_rad(x, z)
    back = np.arange(time, float(subject.times_s[0]), -LOOK_BACK_S)
    if len(back):
        walked = _velocities(subject, back)
        moving = np.flatnonzero(np.hypot(walked[:, 0], walked[:, 2]) >= WALKING_M_S)
        if len(moving):
            x, _, z = walked[moving[0]]
            return "last_travel", subject.name, bearing_rad(float(x), float(z))
    if pair is None and len(shot.subjects) == 2:
        beside = _between(shot.subjects, time)
        if beside is not None:
            return beside
    at = max(int(np.searchsorted(subject.times_s, time + 1e-9, "right")) - 1, 0)
    facing = float(subject.facing_rad[at])
    if np.isfinite(facing):
        return "facing", subject.name, atan2(np.sin(facing), np.cos(facing))
    return "none", subject.name, None


def _pair(
    shot: Shot, framing: Framing, declared: tuple[str, str] | None
) -> tuple[Subject, Subject] | None:
    """Return the two between whom the line runs, where both are framed or declared."""
    if declared is not None:
        found = [s for s in shot.subjects if s.name in declared]
    else:
        order = np.argsort(-np.array(framing.weights), kind="stable")[:2]
        found = [shot.subjects[k] for k in order if framing.weights[k] > 0]
    if len(found) != 2:
        return None
    return found[0], found[1]


def _between(pair: tuple[Subject, ...], time: float) -> tuple[str, str, float] | None:
    """Return the line between two, from the first name on; None where they are one."""
    one, two = sorted(pair, key=lambda s: s.name)
    start, end = _point(one, time, 0.0), _point(two, time, 0.0)
    x, z = end[0] - start[0], end[2] - start[2]
    if hypot(x, z) < PAIR_M:
        return None
    return "pair", f"{one.name}|{two.name}", bearing_rad(x, z)


def _span_name(framing: Framing) -> str:
    for name, size in SIZES.items():
        if (framing.bottom, framing.top) == (size.bottom, size.top):
            return name
    return "fill"


def side_angle(bearing: float, line: float) -> float:
    """Return a bearing counted from a line, -pi to pi, positive on its left."""
    return (bearing - line + pi) % (2 * pi) - pi
