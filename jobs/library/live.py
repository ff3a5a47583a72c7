"""The crew of a shot, live: what it sees goes in frame by frame, its camera comes out.

Whoever moves is not known beforehand: a motion capture stage, a game engine, a
rehearsal on the day. The same kernels decide as in a batch, in the same order, so that
the same motion gives the same camera, to the bit.
"""

from collections.abc import Sequence
from math import degrees, fmod, isfinite, nan, radians
from typing import TYPE_CHECKING, NamedTuple

from ..errors import Fault, JobError
from ..subjects.holds import NO_SAMPLE, LastSample, next_sample
from ..subjects.samples import MANY_TURNS_DEG
from .given import JobLike, read_given

if TYPE_CHECKING:
    from ...solver.action.subject import Subject
    from ...solver.live.crew import StepState
    from ..job.subject import SubjectSpec

Point = Sequence[float]
"""Where a subject is: x, y, z of the place that its `at` names, and where the job's
samples have them, x, y, z of the head; scene units and axes."""
Seen = Sequence[Point | None]
"""A point for each subject of the shot, in the order of the job; None hides it."""

_HALF_TURN = 0.5**0.5
_Row = tuple[float, ...]


class LiveState(NamedTuple):
    """A crew between two frames: a value, which a step leaves as it is.

    Lengths and axes are the scene's unless a name has a unit. What was not stepped yet
    (`frame` is None) has no camera.
    """

    crew: "LiveCrew"
    kept: "StepState"
    held: tuple[LastSample, ...]
    next_frame: int
    frame: int | None
    way: float

    @property
    def time_s(self) -> float:
        """When this frame is [s]."""
        return self.kept.time_s

    @property
    def position(self) -> tuple[float, float, float]:
        """Where the lens is, shake included: `cam_x`, `cam_y`, `cam_z` of a take."""
        return self.crew._scene(self.kept.place)

    @property
    def base(self) -> tuple[float, float, float]:
        """Where the lens is without shake: `x`, `y`, `z` of a take."""
        return self.crew._scene(self.kept.base)

    @property
    def quaternion(self) -> tuple[float, float, float, float]:
        """Which way it looks, shake included, as x, y, z, w: `qx` to `qw` of a take."""
        x, y, z, w = self.kept.turn
        if self.crew._up == "y":
            return x, y, z, w
        part = self.way * _HALF_TURN
        return part * (x + w), part * (y - z), part * (z + y), part * (w - x)

    @property
    def pan_deg(self) -> float:
        """Pan without shake [deg]."""
        return degrees(self.kept.pan_rad)

    @property
    def tilt_deg(self) -> float:
        """Tilt without shake [deg]."""
        return degrees(self.kept.tilt_rad)

    @property
    def rail_m(self) -> float:
        """Where on its rail the dolly is [m]; 0 on sticks."""
        return self.kept.rail_m

    @property
    def focus_m(self) -> float:
        """Focus distance, pulled by eye [m]."""
        return self.kept.focus_m


class LiveCrew:
    """The crew of one shot, for one frame at a time.

    Live there is no rehearsal, so the focus is pulled by eye, whatever the job says;
    everything else is, to the bit, what `solve_shot` makes of the same motion.

    Attributes:
        subjects: names of the subjects, in the order in which they are seen.

    Example:
        >>> import carrellata
        >>> start = {"frame": [1, 2], "x": [0.0, 0.05], "y": [0.0] * 2, "z": [0.0] * 2}
        >>> crew = carrellata.LiveCrew({
        ...     "schema": "carrellata.job/1", "sequence": "live", "rate": "24",
        ...     "world": {"up": "y", "metres_per_unit": 1},
        ...     "camera": {"film_back": "super35-4perf", "lens_kit_mm": [50]},
        ...     "shots": [{
        ...         "name": "010", "frames": [1, 240], "lens_mm": 50,
        ...         "subjects": [{"name": "walker", "at": "floor", "height_m": 1.75,
        ...                       "samples": start}],
        ...         "framing": {"size": "full"},
        ...         "rig": {"kind": "sticks", "at": [0.6, 1.5, 8.0]},
        ...     }],
        ... })
        >>> state = crew.start()
        >>> for frame in range(1, 49):
        ...     state = crew.step(state, [(0.05 * (frame - 1), 0.0, 0.0)])
        >>> state.frame, state.pan_deg < 0.0, len(state.quaternion)
        (48, True, 4)
    """

    def __init__(
        self, job: JobLike, shot: str | None = None, *, samples_per_frame: int = 1
    ) -> None:
        """Take a shot whose setup is given.

        Args:
            job: as `solve` takes it. Of a subject's samples the crew reads those before
                the first frame and the first two that show something new, as the
                pre-roll does, and no others; `frames` say how long it works at most.
            shot: its name; may be left out of a job that has one shot.
            samples_per_frame: of a subject from one frame to the next, at most, >= 1.

        Raises:
            InputError: a file cannot be read.
            JobError: the job is refused, or does not have this shot.
            ShotDataError: the shot's data cannot be used, or its setup is open.
        """
        from ...solver.live.crew import StepCrew
        from ..run.shots import prepare

        given = read_given(job)
        names = [one.name for one in given.job.shots]
        wanted = names if shot is None else [shot]
        if len(wanted) > 1 or wanted[0] not in names:
            message = f"must name one of the job's shots ({', '.join(names)})"
            raise JobError((Fault(path="shot", message=message),))
        spec = given.job.shots[names.index(wanted[0])]
        self._shot = prepare(given.job, spec, given.folder).shot
        self._crew = StepCrew(self._shot, samples_per_frame)
        asked = {one.name: one for one in spec.subjects}
        self._asked = tuple(_Asked.of(asked[one.name]) for one in self._shot.subjects)
        world = given.job.world
        self._up, self._unit_m = world.up, world.metres_per_unit
        self._rate = self._shot.rate.numerator, self._shot.rate.denominator
        self._last = self._shot.last + self._shot.handles[1]
        self.subjects = tuple(one.name for one in self._shot.subjects)

    def start(self) -> LiveState:
        """Return the state before the first frame, handles included."""
        first = self._shot.first - self._shot.handles[0]
        time_s = first * self._rate[1] / self._rate[0]
        held = tuple(_known(one, time_s) for one in self._shot.subjects)
        return LiveState(self, self._crew.start(), held, first, None, 1.0)

    def step(
        self,
        state: LiveState,
        seen: Seen,
        facing_deg: Sequence[float | None] | None = None,
    ) -> LiveState:
        """Return the state after one more frame, with its camera.

        What the crew knows already from the start, it passes over.

        Args:
            state: the one before; it stays as it is, and may be stepped again.
            seen: where each subject is in that frame, as a `Point`; None hides it.
            facing_deg: which way each faces, for look room; None where not known.

        Raises:
            ValueError: there is not a point for each subject, a point has other than
                three or six finite numbers, or the shot's frames are over.
        """
        frame = state.next_frame
        if frame > self._last:
            message = f"the frames of {self._shot.name} end with {self._last}"
            raise ValueError(message)
        rows, held = self._rows(state.held, seen, float(frame), facing_deg)
        kept = self._crew.step(state.kept, rows)
        way = state.way
        if state.frame is None:
            x, _, _, w = kept.turn
            way = -1.0 if w < x else 1.0
        return LiveState(self, kept, held, frame + 1, frame, way)

    def see(
        self,
        state: LiveState,
        seen: Seen,
        frame: float,
        facing_deg: Sequence[float | None] | None = None,
    ) -> LiveState:
        """Return the state after subjects were seen between two frames.

        Args:
            state: the one before; it stays as it is.
            seen: where each subject is, as a `Point`; None hides it.
            frame: when, in frames of the shot, before the next one that is stepped.
            facing_deg: which way each faces; None where not known.

        Raises:
            ValueError: as of `step`, or the frame is not before the next one.
        """
        if not frame < state.next_frame:
            message = f"frame: must be before {state.next_frame}, got {frame}"
            raise ValueError(message)
        rows, held = self._rows(state.held, seen, float(frame), facing_deg)
        return state._replace(kept=self._crew.see(state.kept, rows), held=held)

    def _rows(
        self,
        held: tuple[LastSample, ...],
        seen: Seen,
        frame: float,
        facing_deg: Sequence[float | None] | None,
    ) -> tuple[list[float], tuple[LastSample, ...]]:
        """Return what the crew sees, subject after subject, and what is held then."""
        up, down = self._rate
        time_s = frame * down / up
        if len(seen) != len(held):
            message = (
                f"seen: must have a point for each of {', '.join(self.subjects)}, "
                f"got {len(seen)}"
            )
            raise ValueError(message)
        rows: list[float] = []
        after = []
        for k, one in enumerate(held):
            if time_s <= one.time_s:  # known from the start
                rows += _NOTHING
                after.append(one)
                continue
            point = seen[k]
            shown = point is not None
            body = one.place if point is None else self._body(k, point)
            now, new = next_sample(one, time_s, body, visible=shown)
            new = shown if self._asked[k].keeps else new
            facing = nan if facing_deg is None else _turn(facing_deg[k])
            rows += (1.0, time_s, new, facing, *body)
            after.append(now)
        return rows, tuple(after)

    def _body(self, k: int, point: Point) -> _Row:
        """Return floor and eyes [m], Y up, of a subject at a point."""
        asked, unit_m = self._asked[k], self._unit_m
        if len(point) not in (3, 6) or not isfinite(sum(point)):
            message = (
                f"seen: {self.subjects[k]} must be at 3 or 6 finite numbers, "
                f"got {point!r}"
            )
            raise ValueError(message)
        x, y, z = point[0] * unit_m, point[1] * unit_m, point[2] * unit_m
        if self._up == "z":
            y, z = z, -y
        y -= asked.at_m
        if len(point) == 3:
            return x, y, z, x + 0.0, y + asked.eyes_m, z + 0.0
        u, v, w = point[3] * unit_m, point[4] * unit_m, point[5] * unit_m
        return (x, y, z, u, v, w) if self._up == "y" else (x, y, z, u, w, -v)

    def _scene(self, place: tuple[float, float, float]) -> tuple[float, float, float]:
        """Return a place [m], Y up, in scene axes and units."""
        x, y, z = place
        if self._up == "z":
            y, z = -z, y
        return x / self._unit_m, y / self._unit_m, z / self._unit_m


class _Asked(NamedTuple):
    """How a subject's points are read: heights of its `at` and of its eyes [m]."""

    at_m: float
    eyes_m: float
    keeps: bool

    @classmethod
    def of(cls, spec: "SubjectSpec") -> "_Asked":
        from ...solver.action.body import EYES, LANDMARKS

        height = spec.height_m
        return cls(LANDMARKS[spec.at] * height, EYES * height, spec.holds == "keep")


_NOTHING: _Row = (0.0,) * 10


def _known(subject: "Subject", time_s: float) -> LastSample:
    """Return the last of the samples that a crew knows which starts at a time [s]."""
    from ...solver.live.given import rows_before

    last = NO_SAMPLE
    for k in range(rows_before(subject, time_s)):
        body = (*subject.floor[k].tolist(), *subject.eyes[k].tolist())
        visible, time_s = bool(subject.visible[k]), float(subject.times_s[k])
        last, _ = next_sample(last, time_s, body, visible=visible)
    return last


def _turn(facing_deg: float | None) -> float:
    """Return a facing in radians as a table's are read; NaN where it is not known."""
    if facing_deg is None:
        return nan
    if abs(facing_deg) > MANY_TURNS_DEG:
        facing_deg = fmod(facing_deg, 360.0)
    return radians(facing_deg)
