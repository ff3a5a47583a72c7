"""The action at the ends of a shot: all that cuts are judged by but the camera.

Once a shot, whatever its setup. Bearings are about the up axis: 0 along -Z, positive
counter-clockwise seen from above. Somebody's own line of action runs along their
travel, else their last travel, else their gaze; those of pairs are in `lines`.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from math import pi
from typing import NamedTuple

import numpy as np

from ..action.body import SIZES
from ..action.framing import Framing, framing_at
from ..action.subject import Subject
from ..arrays import FloatArray
from ..elementary.arctangent import atan2
from ..elementary.arrays import lengths
from ..elementary.length import hypot
from ..elementary.trigonometry import cos, sin
from ..shot import Shot

SMOOTH_S = 0.35  # over which a velocity is read
WALKING_M_S = 0.5  # slower, and the last travel is kept
LOOK_BACK_S = 0.1  # between the velocities from which the last travel is found

Point = tuple[float, float, float]
Other = tuple[str, float, float, float, float, float | None]
"""Somebody else: name, floor point [m], speed [m/s], bearing of their own line."""


class _Move(NamedTuple):
    """Where somebody is at a time [s], floor and eyes [m], and how fast [m/s]."""

    time_s: float
    place: Point
    eyes: Point
    velocity: Point


@dataclass(frozen=True, kw_only=True, slots=True)
class ActionAtCut:
    """What the action does at one frame of a shot.

    Attributes:
        frame, time_s: when; time zero is frame 0.
        subject: name of the primary.
        place, eyes: where it stands and its eyes [m]; velocity [m/s].
        line: of the primary's own: travel, last_travel, facing or none.
        line_rad: bearing of it; None where there is none.
        facing_rad: bearing of its gaze; None where it is not known.
        framed: who has a weight in the framing.
        span: named size asked, or "fill"; share: of the stature that it shows.
        stature_m: of the primary.
        others: everyone else who is in the action.
    """

    frame: int
    time_s: float
    subject: str
    place: Point
    eyes: Point
    velocity: Point
    line: str
    line_rad: float | None
    facing_rad: float | None
    framed: tuple[str, ...]
    span: str
    share: float
    stature_m: float
    others: tuple[Other, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class CutAction:
    """The action where a shot begins and where it ends."""

    first: ActionAtCut
    last: ActionAtCut


def cut_action(shot: Shot) -> CutAction:
    """Return the action at the ends of a shot's cut.

    Args:
        shot: as the solver sees it; setup and handles do not count.
    """
    frames = np.array([shot.first, shot.last], dtype=np.float64)
    moves = {one.name: _moves(one, shot.times_of(frames)) for one in shot.subjects}
    first, last = ({name: both[k] for name, both in moves.items()} for k in range(2))
    return CutAction(
        first=_at_frame(shot, shot.first, first), last=_at_frame(shot, shot.last, last)
    )


def _moves(subject: Subject, times: FloatArray) -> list[_Move]:
    """Return where somebody is at ascending times, and how fast."""
    rows = np.hstack(
        [subject.at(times, 0.0), subject.at(times, 1.0), velocities(subject, times)]
    )
    return [
        _Move(time, (x, y, z), (eye_x, eye_y, eye_z), (vx, vy, vz))
        for time, (x, y, z, eye_x, eye_y, eye_z, vx, vy, vz) in zip(
            times.tolist(), rows.tolist(), strict=True
        )
    ]


def bearing_rad(x: float, z: float) -> float:
    """Return the bearing of a level direction."""
    return float(atan2(-x, -z))


def _at_frame(shot: Shot, frame: int, moves: Mapping[str, _Move]) -> ActionAtCut:
    time = next(iter(moves.values())).time_s
    framing = shot.framings[int(framing_at(shot.framings, np.array([time]))[0])]
    subject = shot.subjects[int(np.argmax(framing.weights))]
    mine = moves[subject.name]
    kind, angle = _own_line(subject, time, mine.velocity)
    facing = _facing(subject, time)
    return ActionAtCut(
        frame=frame,
        time_s=time,
        subject=subject.name,
        place=mine.place,
        eyes=mine.eyes,
        velocity=mine.velocity,
        line=kind,
        line_rad=angle,
        facing_rad=facing,
        framed=tuple(
            one.name
            for one, weight in zip(shot.subjects, framing.weights, strict=True)
            if weight > 0
        ),
        span=_span_name(framing),
        share=framing.top - framing.bottom,
        stature_m=subject.height_m,
        others=tuple(
            _other(one, moves[one.name]) for one in shot.subjects if one is not subject
        ),
    )


def _other(one: Subject, move: _Move) -> Other:
    velocity = move.velocity
    speed = float(hypot(hypot(velocity[0], velocity[2]), velocity[1]))
    bearing = _own_line(one, move.time_s, velocity)[1]
    return one.name, *move.place, speed, bearing


def velocities(subject: Subject, times: FloatArray) -> FloatArray:
    """Return somebody's mean velocity about each time, (n, 3) [m/s]."""
    first, last = subject.times_s[0], subject.times_s[-1]
    before = np.minimum(np.maximum(times - SMOOTH_S / 2, first), last)
    after = np.minimum(np.maximum(times + SMOOTH_S / 2, first), last)
    there = subject.at(np.concatenate([after, before]), 0.0)
    moved = there[: len(times)] - there[len(times) :]
    span = (after - before)[:, None]
    return np.where(span > 1e-6, moved / np.maximum(span, 1e-6), 0.0)


def _own_line(
    subject: Subject, time: float, velocity: Point
) -> tuple[str, float | None]:
    """Return the kind of somebody's own line of action, and its bearing.

    Args:
        subject: who.
        time: when.
        velocity: at that time.
    """
    x, _, z = velocity
    if hypot(x, z) >= WALKING_M_S:
        return "travel", bearing_rad(x, z)
    back = np.arange(time, float(subject.times_s[0]), -LOOK_BACK_S)
    if len(back):
        walked = velocities(subject, back)
        moving = np.flatnonzero(lengths(walked[:, 0], walked[:, 2]) >= WALKING_M_S)
        if len(moving):
            x, _, z = walked[moving[0]]
            return "last_travel", bearing_rad(float(x), float(z))
    facing = _facing(subject, time)
    return ("none", None) if facing is None else ("facing", facing)


def _facing(subject: Subject, time: float) -> float | None:
    """Return the bearing of a gaze; None where it is not known."""
    at = max(int(np.searchsorted(subject.times_s, time + 1e-9, "right")) - 1, 0)
    facing = float(subject.facing_rad[at])
    return float(atan2(sin(facing), cos(facing))) if np.isfinite(facing) else None


def _span_name(framing: Framing) -> str:
    for name, size in SIZES.items():
        if (framing.bottom, framing.top) == (size.bottom, size.top):
            return name
    return "fill"


def side_angle(bearing: float, line: float) -> float:
    """Return a bearing counted from a line, -pi to pi, positive on its left."""
    return (bearing - line + pi) % (2 * pi) - pi
