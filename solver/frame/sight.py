"""Whom a camera sees: lines from the lens to crown, eyes, chest and hips of everybody.

A line is stopped by a keep-out, by somebody else, and by a part of the set that is not
wild. A body is a capsule from its feet to its crown. What of the set is nearer than a
hand to the point does not hide it: a chair hides nobody who sits on it. Only points in
the picture count; of somebody who has none in it nothing is hidden.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from ..action.body import EYES, LANDMARKS
from ..arrays import BoolArray, FloatArray, IntArray
from ..compiled.kernel import kernel
from ..sight.set_mesh import SetMesh
from ..sight.tree import CLEAR, DEEPEST, Waiting, first_met, line_of
from ..stage.stage import Stage
from .hidden import BODY_RADIUS_M
from .projection import Screen, from_lens, on_screen, turn_of

POINTS = ("crown", "eyes", "chest", "hips")
"""Of a body, from the top."""
FRACTIONS = tuple(
    LANDMARKS[name] / EYES for name in ("head_top", "eyes", "chest", "hips")
)
"""Of them, of the way from the feet to the eyes."""
AT_EYES = 1
OUT_OF_FRAME = -2
OWN_M = 0.15  # of a body round its points, in which nothing of the set hides them


class SightCamera(NamedTuple):
    """Lens places with pan and tilt, (n, 5) [m, rad], the roll and the screen."""

    cams: FloatArray
    roll_rad: float
    screen: Screen


class SightBodies(NamedTuple):
    """Where everybody is.

    `points` (p, 4, n, 3) [m] are those of `POINTS`; `ends` (p, 2, n, 3) [m] feet and
    crown; `looked_at` (p,) for whom lines are drawn; others only stand in the way.
    """

    points: FloatArray
    ends: FloatArray
    looked_at: BoolArray


class SightStops(NamedTuple):
    """What stops a line: boxes (m, 2, 3) [m], and the state of each part, (k,)."""

    boxes: FloatArray
    state: IntArray


@dataclass(frozen=True, kw_only=True, slots=True)
class Sighted:
    """What of everybody a camera sees, p people at n samples.

    Attributes:
        hider: what hides each point, (p, 4, n): `CLEAR`, `OUT_OF_FRAME`, or an index
            of keep-outs, then people, then parts of the set, each in their order.
        taken_out: wild parts that stand in a line of sight, (k,).
    """

    hider: IntArray
    taken_out: BoolArray

    @property
    def share_hidden(self) -> FloatArray:
        """Share hidden of the points that are in the picture, (p, n); 0 for none."""
        there = self.hider != OUT_OF_FRAME
        hidden = (self.hider >= 0).sum(axis=1)
        share: FloatArray = hidden / np.maximum(there.sum(axis=1), 1)
        return share

    @property
    def eyes_hidden(self) -> BoolArray:
        """Whether the eyes are in the picture and hidden, (p, n)."""
        hidden: BoolArray = self.hider[:, AT_EYES] >= 0
        return hidden


def bodies_seen(
    floor: FloatArray, eyes: FloatArray, looked_at: BoolArray
) -> SightBodies:
    """Return bodies for sight.

    Args:
        floor: feet, (p, n, 3) [m].
        eyes: (p, n, 3) [m].
        looked_at: for whom lines are drawn, (p,).
    """
    up = eyes - floor
    points = np.stack([floor + share * up for share in FRACTIONS], axis=1)
    ends = np.stack([floor, floor + up / EYES], axis=1)
    return SightBodies(
        np.ascontiguousarray(points),
        np.ascontiguousarray(ends),
        np.array(looked_at, dtype=np.bool_),
    )


def sighted(
    stage: Stage,
    mesh: SetMesh,
    bodies: SightBodies,
    camera: SightCamera,
    every: int = 1,
) -> Sighted:
    """Return what a camera sees of people in a set.

    Args:
        stage: with the keep-outs.
        mesh: the set.
        bodies: everybody.
        camera: at the same n samples.
        every: samples at which other points than the eyes are looked at; those between
            count as out of frame.
    """
    hider = np.full(bodies.points.shape[:3], OUT_OF_FRAME, dtype=np.int64)
    taken_out = np.zeros(len(mesh.names), dtype=np.bool_)
    stops = SightStops(stage.keep_outs.copy(), mesh.state.copy())
    see_points(mesh.tree, stops, bodies, camera, every, hider, taken_out)
    return Sighted(hider=hider, taken_out=taken_out)


@kernel
def see_points(tree, stops, bodies, camera, every, hider, taken_out):
    """Fill `hider` (p, 4, n) and `taken_out` (k,), see `Sighted`."""
    n_boxes, n_people = stops.boxes.shape[0], bodies.points.shape[0]
    state = stops.state
    touched = np.zeros(state.shape[0], np.bool_)
    step, start, end = np.empty(6), np.empty(3), np.empty(3)
    axis = np.empty((2, 3))
    room = Waiting(np.empty(DEEPEST, np.int64), np.empty(DEEPEST))
    screen = camera.screen
    for f in range(camera.cams.shape[0]):
        cams = camera.cams
        place = (cams[f, 0], cams[f, 1], cams[f, 2])
        turn = turn_of(cams[f, 3], cams[f, 4], camera.roll_rad)
        start[0], start[1], start[2] = place
        for who in range(n_people):
            if not bodies.looked_at[who]:
                continue
            for k in range(bodies.points.shape[1]):
                if k != AT_EYES and f % every:
                    continue
                points = bodies.points
                point = (
                    points[who, k, f, 0],
                    points[who, k, f, 1],
                    points[who, k, f, 2],
                )
                x, y, z = from_lens(point, place, turn)
                u, v = on_screen(x, y, z, screen)
                if abs(u) > 1.0 or abs(v) > 1.0:
                    continue
                end[0], end[1], end[2] = point[0], point[1], point[2]
                length = line_of(start, end, step)
                found = CLEAR
                for box in range(n_boxes):
                    if box_between(stops.boxes, box, start, step):
                        found = box
                        break
                if found == CLEAR:
                    for other in range(n_people):
                        if other != who and body_between(
                            bodies.ends, other, f, start, end, axis
                        ):
                            found = n_boxes + other
                            break
                if found == CLEAR:
                    touched[:] = False
                    most = 1.0 - min(OWN_M / max(length, 1e-9), 1.0)
                    t = first_met(tree, state, start, step, most, touched, room, False)
                    if t >= 0:
                        found = n_boxes + n_people + tree.part[t]
                    else:
                        for part in range(state.shape[0]):
                            if touched[part]:
                                taken_out[part] = True
                hider[who, k, f] = found


@kernel
def box_between(boxes, box, start, step):
    """Tell whether the way from a start by a step meets a box."""
    low, high = 0.0, 1.0
    for c in range(3):
        if step[c] == 0.0:
            if start[c] < boxes[box, 0, c] or start[c] > boxes[box, 1, c]:
                return False
            continue
        a = (boxes[box, 0, c] - start[c]) * step[3 + c]
        b = (boxes[box, 1, c] - start[c]) * step[3 + c]
        low, high = max(low, min(a, b)), min(high, max(a, b))
    return low <= high


@kernel
def body_between(ends, who, f, start, end, axis):
    """Tell whether somebody's capsule meets the segment from start to end.

    `axis` (2, 3) is room for the ends of the middle of the capsule.
    """
    square = 0.0
    for c in range(3):
        square += (ends[who, 1, f, c] - ends[who, 0, f, c]) ** 2
    inset = min(BODY_RADIUS_M / max(np.sqrt(square), 1e-9), 0.5)
    for c in range(3):
        low, high = ends[who, 0, f, c], ends[who, 1, f, c]
        axis[0, c] = low + inset * (high - low)
        axis[1, c] = high - inset * (high - low)
    return segment_gap(start, end, axis[0], axis[1]) < BODY_RADIUS_M


@kernel
def segment_gap(a, b, p, q):
    """Return the least distance of two segments (Ericson 2005, section 5.1.9) [m]."""
    aa = ee = bb = cc = ff = 0.0
    for c in range(3):
        d1, d2, r = b[c] - a[c], q[c] - p[c], a[c] - p[c]
        aa += d1 * d1
        ee += d2 * d2
        bb += d1 * d2
        cc += d1 * r
        ff += d2 * r
    s = t = 0.0
    if aa > 0.0 and ee > 0.0:
        across = aa * ee - bb * bb
        s = min(max((bb * ff - cc * ee) / across, 0.0), 1.0) if across > 0.0 else 0.0
        t = (bb * s + ff) / ee
        if t < 0.0:
            t, s = 0.0, min(max(-cc / aa, 0.0), 1.0)
        elif t > 1.0:
            t, s = 1.0, min(max((bb - cc) / aa, 0.0), 1.0)
    elif aa > 0.0:
        s = min(max(-cc / aa, 0.0), 1.0)
    elif ee > 0.0:
        t = min(max(ff / ee, 0.0), 1.0)
    square = 0.0
    for c in range(3):
        off = a[c] + s * (b[c] - a[c]) - p[c] - t * (q[c] - p[c])
        square += off * off
    return np.sqrt(square)
