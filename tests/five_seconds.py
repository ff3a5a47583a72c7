"""Five seconds at a time of recorded people, for the choice of a setup.

Ten stretches of a football match, two motion capture trials and six clips; their
sources stand in `motion`. Everybody is put on level ground.
"""

from dataclasses import dataclass

import motion
import numpy as np
from asks import person
from numpy.typing import NDArray

from carrellata.solver.action.subject import Subject

SECONDS = 5.0
CYCLES = {"run": 6, "walk": 4}
ONCE = ("jump", "spinkick", "cartwheel", "backflip")


@dataclass(frozen=True, kw_only=True, slots=True)
class Piece:
    """Up to five seconds of one recording."""

    name: str
    source: str
    rate_hz: float
    floor: NDArray[np.float64]

    @property
    def subject(self) -> Subject:
        """The person, as the solver sees them."""
        return person(self.floor, self.rate_hz)


def pieces() -> list[Piece]:
    """Return all of them, football first."""
    whole = [
        (name, "football", *track)
        for name, track in motion.football_stretches().items()
    ]
    whole.append(("jumps", "motion capture", *motion.cmu_jumps()))
    whole.append(("climbing", "motion capture", *motion.cmu_climbing()))
    found = []
    for name, source, rate, points in whole:
        n = int(SECONDS * rate)
        for k in range(0, len(points) - n, n):
            floor = _level(points[k : k + n + 1])
            label = f"{name} {k / rate:.0f} s"
            found.append(Piece(name=label, source=source, rate_hz=rate, floor=floor))
    for name in (*CYCLES, *ONCE):
        rate, points = motion.deepmimic(name, CYCLES.get(name, 1))
        found.append(
            Piece(
                name=name, source="motion capture", rate_hz=rate, floor=_level(points)
            )
        )
    return found


def _level(points: NDArray[np.float64]) -> NDArray[np.float64]:
    return points * [1.0, 0.0, 1.0]
