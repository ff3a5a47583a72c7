"""What every frame of a cut shows of everybody in the action, followed or not.

The same for a take and for a trial: the base camera frame by frame, its shake over it.
Heads are of the final, shaken picture, as in `head`. What hides somebody is found from
the lens without shake, as a trial does.
"""

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from ..action.acted import hidden_at
from ..action.body import EYES
from ..arrays import BoolArray, FloatArray, IntArray
from ..compiled.kernel import kernel
from ..frame.head import CROWN, head_on_screen
from ..frame.hidden import stands_between
from ..frame.projection import (
    Screen,
    Shaking,
    from_lens,
    on_screen,
    shaken,
    shaking_of,
    span_on_screen,
    turn_of,
)
from ..frame.sight import OWN_M
from ..shot import Shot
from ..stage.stage import Stage
from ..stage.stage import hidden_by as boxes_between
from ..take import Take

CROWN_U, CROWN_V, CHIN_U, CHIN_V, FIGURE = range(5)
N_ROWS = 5


class CameraFrames(NamedTuple):
    """A camera at n frames.

    `cams` (n, 5 or more) has the place of the lens without shake [m], pan and tilt
    [rad]; `shaking` has a row a frame.
    """

    cams: FloatArray
    roll_rad: float
    screen: Screen
    shaking: Shaking


@dataclass(frozen=True, kw_only=True, slots=True)
class Blocking:
    """Where everybody is at the n frames of a cut, whatever the camera does.

    Attributes:
        names: of the p people, in the order of the shot.
        frame: numbers, (n,); rate: frames a second.
        floor, eyes, crown: (p, n, 3) [m].
        unseen: frames at which the data hide somebody, (p, n).
    """

    names: tuple[str, ...]
    frame: IntArray
    rate: float
    floor: FloatArray
    eyes: FloatArray
    crown: FloatArray
    unseen: BoolArray

    def of(self, name: str) -> int:
        """Return the index of somebody.

        Raises:
            ValueError: nobody has this name.
        """
        return self.names.index(name)


@dataclass(frozen=True, kw_only=True, slots=True)
class FrameTable:
    """What the n frames of a cut show of p people.

    Attributes:
        blocking: where they are.
        camera: that sees them.
        stage: what may stand in the way.
        crown_u, crown_v, chin_u, chin_v: half frames, infinite behind the lens, (p, n).
        figure: floor to crown as a share of the frame height, (p, n); NaN where it
            reaches behind the lens.
        head_in: crown, chin and both sides in frame, (p, n).
        hidden: by the data, a keep-out, the set or somebody else, (p, n).
    """

    blocking: Blocking
    camera: CameraFrames
    stage: Stage
    crown_u: FloatArray
    crown_v: FloatArray
    chin_u: FloatArray
    chin_v: FloatArray
    figure: FloatArray
    head_in: BoolArray
    hidden: BoolArray

    @property
    def shown(self) -> BoolArray:
        """Frames that show a head, whole and not hidden, (p, n)."""
        shown: BoolArray = self.head_in & ~self.hidden
        return shown

    @property
    def lens(self) -> FloatArray:
        """Place of the lens without shake, (n, 3) [m]."""
        return self.camera.cams[:, :3]

    def between(self, first: int, last: int) -> "FrameTable":
        """Return the part of it from one frame to another, both included."""
        frame = self.blocking.frame
        rows = slice(*np.searchsorted(frame, (first, last + 1)).tolist())
        one, camera = self.blocking, self.camera
        return replace(
            self,
            blocking=replace(
                one,
                frame=frame[rows],
                floor=one.floor[:, rows],
                eyes=one.eyes[:, rows],
                crown=one.crown[:, rows],
                unseen=one.unseen[:, rows],
            ),
            camera=camera._replace(
                cams=camera.cams[rows],
                shaking=Shaking(*(each[rows] for each in camera.shaking)),
            ),
            crown_u=self.crown_u[:, rows],
            crown_v=self.crown_v[:, rows],
            chin_u=self.chin_u[:, rows],
            chin_v=self.chin_v[:, rows],
            figure=self.figure[:, rows],
            head_in=self.head_in[:, rows],
            hidden=self.hidden[:, rows],
        )


def blocking_of(shot: Shot, frame: IntArray | None = None) -> Blocking:
    """Return where everybody of a shot is.

    Args:
        shot: its subjects, followed or not.
        frame: numbers, rising, (n,); None: all frames of the cut.
    """
    frames = np.arange(shot.first, shot.last + 1) if frame is None else frame
    times = shot.times_of(frames.astype(np.float64))
    people = shot.subjects
    return Blocking(
        names=tuple(one.name for one in people),
        frame=frames,
        rate=float(shot.rate),
        floor=np.array([one.at(times, 0.0) for one in people]),
        eyes=np.array([one.at(times, 1.0) for one in people]),
        crown=np.array([one.at(times, 1.0 / EYES) for one in people]),
        unseen=np.array(
            [
                hidden_at(people, times, np.full(len(times), k))
                for k in range(len(people))
            ]
        ),
    )


def frame_table(blocking: Blocking, stage: Stage, camera: CameraFrames) -> FrameTable:
    """Return what a camera shows of everybody."""
    p, n = blocking.unseen.shape
    rows, head_in = np.empty((N_ROWS, p, n)), np.empty((p, n), np.bool_)
    hidden = blocking.unseen.copy()
    bodies = np.stack([blocking.floor, blocking.crown], axis=1)
    see_everyone(bodies, blocking.eyes, camera, rows, head_in, hidden)
    if len(stage.names):
        for k in range(p):
            hits = boxes_between(stage, camera.cams[:, :3], blocking.eyes[k])
            hidden[k] |= np.any(hits, axis=1)
    if stage.set is not None:
        for k in range(p):
            met = stage.set.met(camera.cams[:, :3], short_of(camera, blocking.eyes[k]))
            hidden[k] |= met >= 0
    return FrameTable(
        blocking=blocking,
        camera=camera,
        stage=stage,
        crown_u=rows[CROWN_U],
        crown_v=rows[CROWN_V],
        chin_u=rows[CHIN_U],
        chin_v=rows[CHIN_V],
        figure=rows[FIGURE],
        head_in=head_in,
        hidden=hidden,
    )


def short_of(camera: CameraFrames, points: FloatArray) -> FloatArray:
    """Return points (n, 3) [m] moved toward the lens by what nothing hides."""
    back = camera.cams[:, :3] - points
    length = np.maximum(np.linalg.norm(back, axis=1), 1e-9)
    short: FloatArray = points + back * np.minimum(OWN_M / length, 1.0)[:, None]
    return short


def frames_of_take(take: Take) -> FrameTable:
    """Return what the frames of a take's cut show, without samples between them."""
    shot = take.shot
    rows = (take.sub == 0) & ~take.handle
    cams = np.column_stack([take.base, take.pan[:, 0], take.tilt[:, 0]])[rows]
    shaking = Shaking(*(each[rows].copy() for each in shaking_of(take.shake)))
    screen = Screen(*shot.tangents, shot.gate.axis_v)
    camera = CameraFrames(cams, shot.roll_rad, screen, shaking)
    return frame_table(blocking_of(shot, take.frame[rows]), shot.stage, camera)


@kernel
def see_everyone(bodies, eyes, camera, rows, head_in, hidden):
    """Fill what a camera shows of everybody, and who stands before whom.

    Args:
        bodies: feet and crowns, (p, 2, n, 3) [m].
        eyes: (p, n, 3) [m].
        camera: the `CameraFrames`.
        rows: CROWN_U to FIGURE, filled, (N_ROWS, p, n).
        head_in: filled, (p, n).
        hidden: set where somebody else stands before the eyes, (p, n).
    """
    cams, screen, shaking = camera.cams, camera.screen, camera.shaking
    for f in range(cams.shape[0]):
        place = (cams[f, 0], cams[f, 1], cams[f, 2])
        turn = turn_of(cams[f, 3], cams[f, 4], camera.roll_rad)
        for k in range(eyes.shape[0]):
            feet = bodies[k, 0, f]
            floor = from_lens((feet[0], feet[1], feet[2]), place, turn)
            at = from_lens((eyes[k, f, 0], eyes[k, f, 1], eyes[k, f, 2]), place, turn)
            floor, at = shaken(floor, shaking, f), shaken(at, shaking, f)
            crown_u, crown_v, chin_u, chin_v, whole, _ = head_on_screen(
                floor, at, screen
            )
            rows[CROWN_U, k, f], rows[CROWN_V, k, f] = crown_u, crown_v
            rows[CHIN_U, k, f], rows[CHIN_V, k, f] = chin_u, chin_v
            head_in[k, f] = whole
            crown = (
                floor[0] + CROWN * (at[0] - floor[0]),
                floor[1] + CROWN * (at[1] - floor[1]),
                floor[2] + CROWN * (at[2] - floor[2]),
            )
            rows[FIGURE, k, f], _ = span_on_screen(crown, floor, screen)
            for other in range(eyes.shape[0]):
                if other != k and stands_between(bodies, other, f, place, eyes[k]):
                    hidden[k, f] = True


@kernel
def points_in_frame(points, camera, out):
    """Fill `out` (n,) with the share of `points` (k, 3) [m] that is in each frame."""
    cams, screen = camera.cams, camera.screen
    for f in range(cams.shape[0]):
        place = (cams[f, 0], cams[f, 1], cams[f, 2])
        turn = turn_of(cams[f, 3], cams[f, 4], camera.roll_rad)
        inside = 0
        for k in range(points.shape[0]):
            point = (points[k, 0], points[k, 1], points[k, 2])
            seen = shaken(from_lens(point, place, turn), camera.shaking, f)
            u, v = on_screen(seen[0], seen[1], seen[2], screen)
            inside += abs(u) <= 1.0 and abs(v) <= 1.0
        out[f] = inside / points.shape[0]
