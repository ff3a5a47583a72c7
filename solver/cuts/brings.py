"""What a cut brings: all that is new to a viewer in the shot after it.

A cut that brings nothing is a fault of the cut, whatever its angle (`adds_nothing`).
"""

from math import degrees, hypot, sin
from typing import NamedTuple

from .at_cut import WALKING_M_S, bearing_rad, side_angle
from .end import CutEnd, ShotEnds, direction_of
from .rules import LEAST_TURN_RAD, SAME_SIZE_STEPS, size_steps, turn_rad

COMES, GOES, FOLLOWS = "comes", "goes", "follows"
SIZE, VIEW, LOOK, PLACE, TIME = "size", "view", "look", "place", "time"
_LOOKS = 0.17  # sine of the angle to the sight line from which a look has a side


class News(NamedTuple):
    """One thing that is new after a cut.

    Attributes:
        what: `comes`, `goes`, `follows`, `size`, `view`, `look`, `place` or `time`.
        who: whom it is about, or the place; "" for `time`.
        number: steps of size, larger positive; degrees of view; 0 for all else.
    """

    what: str
    who: str
    number: float = 0.0


def news_of(before: ShotEnds, after: ShotEnds) -> tuple[News, ...]:
    """Return what a cut inside a scene brings, where time runs on.

    Args:
        before: ends of the shot before.
        after: ends of the shot after.
    """
    out, into = before.last, after.first
    return (*_people(before, after), *_camera(out, into))


def _people(before: ShotEnds, after: ShotEnds) -> list[News]:
    """Return who comes and goes, and whether another is followed."""
    known = bool(before.people and after.people)
    was = {one.name: one.at_last for one in before.people if known}
    now = {one.name: one for one in after.people if known}
    found = [
        News(COMES, name)
        for name, one in now.items()
        if one.at_first and not was.get(name, False)
    ]
    found += [
        News(GOES, name)
        for name, shown in was.items()
        if shown and not (name in now and now[name].at_first)
    ]
    if before.last.subject != after.first.subject:
        found.append(News(FOLLOWS, after.first.subject))
    return found


def _camera(out: CutEnd, into: CutEnd) -> list[News]:
    """Return what a cut changes in how the camera sees one person."""
    if out.subject != into.subject:
        return []
    found = []
    if out.scale is not None and into.scale is not None:
        steps = float(size_steps(out.scale, into.scale))
        if steps >= SAME_SIZE_STEPS:
            sign = 1.0 if into.scale > out.scale else -1.0
            found.append(News(SIZE, into.subject, sign * steps))
    turn = float(turn_rad(direction_of(out), direction_of(into)))
    if turn >= LEAST_TURN_RAD:
        found.append(News(VIEW, into.subject, degrees(turn)))
    looks = _look(out), _look(into)
    if looks[0] * looks[1] < 0:
        found.append(News(LOOK, into.subject))
    return found


def _look(end: CutEnd) -> int:
    """Return to which side of the frame somebody looks: 1 right, -1 left, 0 neither.

    Who walks and whose gaze is not known looks where they go.
    """
    facing = end.facing_rad
    x, _, z = end.velocity
    if facing is None and hypot(x, z) >= WALKING_M_S:
        facing = bearing_rad(x, z)
    if facing is None:
        return 0
    to_lens = bearing_rad(end.lens[0] - end.eyes[0], end.lens[2] - end.eyes[2])
    across = sin(side_angle(facing, to_lens))
    if abs(across) < _LOOKS:
        return 0
    return 1 if across > 0 else -1
