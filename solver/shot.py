"""A shot as the solver sees it: arrays and frozen values, metres, radians, Y up."""

from dataclasses import dataclass, field
from fractions import Fraction

import numpy as np

from .arrays import BoolArray, FloatArray, frozen
from .crew.member import Crew
from .errors import SolverError
from .optics.camera import Gate
from .optics.lens import Lens
from .rigs.shape import Rig
from .shake import LEVELS, ShakeLevel

HOLDS = ("abreast", "size", "view")


@dataclass(frozen=True, kw_only=True, slots=True)
class Subject:
    """A person (or thing) in motion, as sampled.

    Attributes:
        name: as in the job.
        times_s: sample times, ascending, (n,) [s]; time zero is frame 0.
        floor: where it stands, (n, 3) [m].
        eyes: middle of the eyes, (n, 3) [m].
        facing_rad: about the up axis, (n,); NaN where not given.
        fresh: samples that show something new, (n,): not hidden, not a held key.
        visible: samples that are not hidden, (n,).
        height_m: stature [m].
        share: weight in the framing, >= 0; must_hold: kept in frame if possible.
        shown: times, floor and eyes of the samples between which it is read.
    """

    name: str
    times_s: FloatArray
    floor: FloatArray
    eyes: FloatArray
    facing_rad: FloatArray
    fresh: BoolArray
    visible: BoolArray
    height_m: float = 1.7
    share: float = 1.0
    must_hold: bool = True
    shown: tuple[FloatArray, FloatArray, FloatArray] = field(
        init=False, repr=False, compare=False
    )

    def __post_init__(self) -> None:
        """Freeze the arrays and refuse what no belief can start from."""
        for name in ("times_s", "floor", "eyes", "facing_rad"):
            object.__setattr__(self, name, frozen(getattr(self, name)))
        for name in ("fresh", "visible"):
            object.__setattr__(self, name, frozen(getattr(self, name), dtype=np.bool_))
        if not self.fresh.any():
            message = f"{self.name}: has no visible sample"
            raise SolverError(message)
        shown = (self.times_s, self.floor, self.eyes)
        seen = self.visible | self.fresh
        if not seen.all():
            times, floor, eyes = (frozen(values[seen]) for values in shown)
            shown = (times, floor, eyes)
        object.__setattr__(self, "shown", shown)

    def at(self, times_s: FloatArray, fraction: float) -> FloatArray:
        """Return the body point at `fraction` of the way floor to eyes, (k, 3) [m].

        Interpolates between visible samples, so it reads ahead: for measures and
        rehearsed focus, never for the crew. A held key stays where it is drawn.
        """
        times, floor, eyes = self.shown
        first = int(times.searchsorted(times_s[0])) if len(times_s) else 0
        own = slice(first, first + len(times_s))
        at_own = np.array_equal(times[own], times_s)  # mostly: nothing to interpolate
        if at_own:
            floor, eyes = floor[own], eyes[own]
        points = floor.copy() if fraction == 0.0 else floor + (eyes - floor) * fraction
        if at_own:
            return points
        out = np.empty((len(times_s), 3))
        for c in range(3):
            out[:, c] = np.interp(times_s, times, points[:, c])
        return out


@dataclass(frozen=True, kw_only=True, slots=True)
class Framing:
    """What is asked of the frame from `start_s` on.

    Attributes:
        start_s: when it begins [s]; -inf for the shot's own.
        top, bottom: named span of the body, fractions of stature.
        aim: aim point, as a fraction of the way floor to eyes.
        u, v: where the aim point goes, half frames right and up of the lens axis.
        lead_room, look_room: half frame widths left ahead of travel or gaze.
        distance_m: at which the span has its size.
        weights: of each subject, (n_subjects,), >= 0, some > 0.
        whip: whether the hand-over is a whip.
        angle: camera against the eye line: below, level, above, or degrees above it.
    """

    start_s: float
    top: float
    bottom: float
    aim: float
    u: float
    v: float
    lead_room: float
    look_room: float
    distance_m: float
    weights: tuple[float, ...]
    whip: bool = False
    angle: str | float = "level"


@dataclass(frozen=True, kw_only=True, slots=True)
class Shot:
    """One shot, ready to be operated.

    Attributes:
        name: of the shot.
        rate: frames a second, exact.
        first, last: cut frames, inclusive.
        handles: frames before and after the cut that are solved too.
        samples_per_frame: equally spaced from each frame to the next, >= 1.
        gate: used film area; lens, stop (f-number), coc_mm: circle of confusion.
        roll_rad: constant roll of the head.
        rig, hold: where the lens can be and what the dolly keeps.
        view_rad: for hold "view": the camera's bearing from the subject's travel,
            0 ahead of it, positive on its left.
        side_offset: place beside the subject that "abreast" is nearest to, (3,) [m].
        follow: share of the way that a dolly abreast covers, from the middle of its
            rail, 0 to 1; with less than 1 it leads, is passed, and moves less.
        subjects, framings: framings ascend in start_s, the first from -inf.
        shake, seed: the layer and its phases.
    """

    name: str
    rate: Fraction
    first: int
    last: int
    handles: tuple[int, int] = (0, 0)
    samples_per_frame: int = 1
    gate: Gate
    lens: Lens
    stop: float = 2.8
    coc_mm: float = 0.025
    roll_rad: float = 0.0
    rig: Rig
    hold: str = "abreast"
    view_rad: float = 0.0
    side_offset: tuple[float, float, float] = (0.0, 0.0, 0.0)
    follow: float = 1.0
    crew: Crew
    subjects: tuple[Subject, ...]
    framings: tuple[Framing, ...]
    shake: ShakeLevel = field(default_factory=lambda: LEVELS["locked"])
    seed: int = 0

    def times_of(self, frames: FloatArray) -> FloatArray:
        """Return times [s] of frame numbers, which may be fractional."""
        return frames * self.rate.denominator / self.rate.numerator

    @property
    def tangents(self) -> tuple[float, float]:
        """Half-frame tangents (tx, ty) of the lens on the gate."""
        return self.gate.half_tangents(self.lens.focal_mm)
