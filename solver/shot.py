"""A shot as the solver sees it: arrays and frozen values, metres, radians, Y up."""

from dataclasses import dataclass, field
from fractions import Fraction

from .action.claim import Claim
from .action.framing import Framing
from .action.subject import Subject
from .arrays import FloatArray
from .optics.camera import Gate
from .optics.lens import Lens
from .presets import Crew
from .rigs.shape import Rig
from .shake import LEVELS, ShakeLevel
from .stage.stage import Stage

HOLDS = ("abreast", "size", "view")


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
        stage: where cameras can stand, and what hides people.
        claims: what the picture must tell.
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
    stage: Stage = field(default_factory=Stage)
    claims: tuple[Claim, ...] = ()

    def times_of(self, frames: FloatArray) -> FloatArray:
        """Return times [s] of frame numbers, which may be fractional."""
        return frames * self.rate.denominator / self.rate.numerator

    def time_of(self, frame: float) -> float:
        """Return the time [s] of a frame number, which may be fractional."""
        return frame * self.rate.denominator / self.rate.numerator

    @property
    def tangents(self) -> tuple[float, float]:
        """Half-frame tangents (tx, ty) of the lens on the gate."""
        return self.gate.half_tangents(self.lens.focal_mm)
