"""One figure of the bench, and how big the runs are that it comes from."""

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, kw_only=True, slots=True)
class Figure:
    """A measured number.

    Attributes:
        name: words joined by underscores, unique in a run.
        value: in `unit`.
        unit: `us`, `s`, ...; `x` for a ratio of two times of one run.
        better: which way it should go; "" for what is only told.
        target: what it is to reach.
        note: what the reader has to know, such as how many were timed.
    """

    name: str
    value: float
    unit: str
    better: Literal["lower", "higher", ""] = "lower"
    target: float | None = None
    note: str = ""

    @property
    def is_ratio(self) -> bool:
        """Whether it may be compared between machines."""
        return self.unit == "x"

    @property
    def reached(self) -> bool | None:
        """Whether the target is reached; None where there is none."""
        if self.target is None or not self.better:
            return None
        low, high = sorted((self.value, self.target))
        return self.value == (low if self.better == "lower" else high)


@dataclass(frozen=True, kw_only=True, slots=True)
class Sizes:
    """How much of everything is timed."""

    name: str
    states: int
    slow_states: int
    repeats: int
    stretches: int
    takes: int
    shots: int
    feature_shots: int
    feature_frames: int
    frames: tuple[int, ...]
    counts: tuple[int, ...]
    starts: int
    queued: int
    asks: int
    cores: tuple[int, ...] = (2, 1)


FULL = Sizes(
    name="full",
    states=10_000,
    slow_states=500,
    repeats=9,
    stretches=10,
    takes=40,
    shots=1_000,
    feature_shots=1_500,
    feature_frames=129_600,
    frames=(1_000, 10_000, 100_000, 1_000_000),
    counts=(10, 100, 1_000, 10_000),
    starts=9,
    queued=2_000,
    asks=24,
)
QUICK = Sizes(
    name="quick",
    states=1_000,
    slow_states=50,
    repeats=5,
    stretches=3,
    takes=15,
    shots=60,
    feature_shots=24,
    feature_frames=24 * 86,
    frames=(1_000, 10_000),
    counts=(10, 50),
    starts=3,
    queued=100,
    asks=4,
)
