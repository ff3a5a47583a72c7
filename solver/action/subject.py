"""Who moves: a person, or a thing, in motion, as sampled."""

from dataclasses import dataclass, field

import numpy as np

from ..arrays import BoolArray, FloatArray, frozen
from ..errors import SolverError


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
        if not at_own:  # only what they lie among
            first = max(int(times.searchsorted(times_s.min(), "right")) - 1, 0)
            own = slice(first, int(times.searchsorted(times_s.max())) + 1)
            times = times[own]
        floor, eyes = floor[own], eyes[own]
        points = floor.copy() if fraction == 0.0 else floor + (eyes - floor) * fraction
        if at_own:
            return points
        out = np.empty((len(times_s), 3))
        for c in range(3):
            out[:, c] = np.interp(times_s, times, points[:, c])
        return out
