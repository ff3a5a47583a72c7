"""Five seconds at a time of recorded people, for the choice of a setup.

Ten stretches of a football match, two motion capture trials and six clips; their
sources stand in `motion`. Everybody is put on level ground, but for `with_heights`.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import motion
import numpy as np
from asks import person
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

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


HIPS_M = 0.9  # of recorded hips over the floor, about
WALKS = ("run", "walk")
STUNTS = ("dance_a", "dance_b", "spin", "punch", "kick")


def with_heights() -> list[Piece]:
    """Return people whose heads rise and fall, by source.

    "motion capture" are walks and runs as recorded, "stunts" jumps, climbing and
    dances: the floor is 0.9 m under the hips. "football" is a minute at 50 frames a
    second, five seconds of each of 25 people, drawn with a seed; heights are not
    recorded, and steps of the recorded walk and run are laid on them.
    """
    found = []
    for name in WALKS:
        rate, points = motion.deepmimic(name, 20)
        found += _cut(name, "motion capture", rate, points)[:2]
    found += _cut("jumps", "stunts", *motion.cmu_jumps())
    found += _cut("climbing", "stunts", *motion.cmu_climbing())
    found += _cut("running jumps", "stunts", *motion.deepmimic("jump", 6))
    for name in STUNTS:
        found += _cut(name, "stunts", *motion.deepmimic(name))
    return [*found, *_stepping()]


def _cut(
    name: str, source: str, rate: float, points: NDArray[np.float64]
) -> list[Piece]:
    n = int(SECONDS * rate)
    floor = points - np.array([0.0, HIPS_M, 0.0])
    parts = [floor[k : k + n + 1] for k in range(0, len(floor) - n, n)] or [floor]
    return [
        Piece(name=f"{name} {k}", source=source, rate_hz=rate, floor=part)
        for k, part in enumerate(parts)
    ]


def _stepping() -> Iterator[Piece]:
    rng = np.random.default_rng(5)
    for name, (rate, points) in motion.hawkeye().items():
        n = int(SECONDS * rate)
        k = int(rng.integers(0, (len(points) - n) // n)) * n
        floor = points[k : k + n + 1].copy()
        floor[:, 1] = _steps(floor, rate)
        yield Piece(name=name, source="football", rate_hz=rate, floor=floor)


def _steps(floor: NDArray[np.float64], rate: float) -> NDArray[np.float64]:
    """Return heights of recorded steps, run or walked as the speed asks, (n,) [m]."""
    step = np.gradient(floor[:, [0, 2]], 1 / rate, axis=0)
    speed = np.hypot(*gaussian_filter1d(step, 0.15 * rate, axis=0).T)
    ran = np.clip((speed - 2.0) / 0.8, 0.0, 1.0)
    walked = np.clip((speed - 0.3) / 0.5, 0.0, 1.0) * (1.0 - ran)
    heights = np.zeros(len(floor))
    for name, share in zip(WALKS, (ran, walked), strict=True):
        loop_rate, points = motion.deepmimic(name)
        gone = np.hypot(*np.diff(points[:, [0, 2]], axis=0).T).cumsum()
        loop_s = (len(points) - 1) / loop_rate
        # A stride grows with the root of the speed, and so does its rate.
        pace = np.sqrt(np.maximum(speed, 0.2) * loop_s / gone[-1])
        phase = np.cumsum(pace) / (rate * loop_s) % 1.0
        every = np.linspace(0.0, 1.0, len(points))
        heights += share * np.interp(phase, every, points[:, 1] - points[:, 1].mean())
    return heights


def _level(points: NDArray[np.float64]) -> NDArray[np.float64]:
    return points * [1.0, 0.0, 1.0]
