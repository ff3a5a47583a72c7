"""How one performance of a shot differs from the next: seeded, and exactly causal.

People do not repeat themselves. With a level of 1 a member differs as follows; every
amount is proportional to the level, and a level of 0 changes no bit.

- *From take to take*: gain (stiffness of plans and bandwidth of the belief together)
  and tolerance are drawn once, and by how much the rest is longer than asked.
- *Perception*: who moves is seen a little ahead of or behind where they are, by an
  error in time of `TIMING_S` r.m.s. that wanders in `TIMING_BAND_HZ`. So the error in
  place grows with speed, as Weber's law has it, and who stands is seen where they are.
- *Timing*: each sample is seen later than the reaction by up to `LATENESS_S`, drawn
  anew every `EPOCH_S`; never sooner, so that the reaction stays the lower bound.

Heights are seen as they are: a head that leaves the frame is not what takes differ by.
All draws are hashes of the seed and a counter (an epoch, a component), so they depend
on neither the order of work nor on what else is solved. Amounts are set so that the
spread of the crossover from run to run is that of eight people on one function:
tests/evidence/people.py.
"""

import hashlib
from dataclasses import dataclass, replace
from functools import lru_cache
from math import ceil

import numpy as np

from ..action.subject import Subject
from ..arrays import FloatArray, IntArray, frozen
from ..cosines import cosine_sums, in_bins
from ..presets import Crew, Member

GAIN = 0.10  # standard deviations over the mean, from take to take
TOLERANCE = 0.15
REST = 0.2  # by how much a rest is longer at most
STEP = 0.02  # of these factors: takes of equal steps share their planners
LEAST = 0.5  # of any of them
TIMING_S = 0.005
TIMING_BAND_HZ = (0.05, 0.3)
LATENESS_S = 0.05
EPOCH_S = 0.3
SPEED_S = 0.25  # over which the speed is seen that the error in place grows with
COMPONENTS = 24
_DRAWS = 12  # uniform draws whose sum, less 6, is nearly normal with unit variance
_GOLDEN, _MIX1, _MIX2 = 0x9E3779B97F4A7C15, 0xBF58476D1CE4E5B9, 0x94D049BB133111EB


def _key(*words: object) -> int:
    """Return the 64 bits that name a stream of draws."""
    text = "/".join(map(str, words))
    return int.from_bytes(hashlib.sha256(text.encode()).digest()[:8], "little")


def uniform(key: int, counters: IntArray) -> FloatArray:
    """Return draws from 0 to 1, one for each counter (n,), whatever their order.

    Source: the output function of SplitMix64 (Steele, Lea & Flood 2014), from memory.
    """
    with np.errstate(over="ignore"):
        z = np.uint64(key) + counters.astype(np.uint64) * np.uint64(_GOLDEN)
        z = (z ^ (z >> np.uint64(30))) * np.uint64(_MIX1)
        z = (z ^ (z >> np.uint64(27))) * np.uint64(_MIX2)
        z ^= z >> np.uint64(31)
    drawn: FloatArray = (z >> np.uint64(11)).astype(np.float64) * 2.0**-53
    return drawn


def _factor(key: int, deviation: float) -> float:
    """Return a factor near 1, in whole steps."""
    normal = float(sum(uniform(key, np.arange(_DRAWS)).tolist())) - _DRAWS / 2
    return max(LEAST, round((1.0 + deviation * normal) / STEP) * STEP)


def _longer(key: int, most: float) -> float:
    """Return a factor above 1, in whole steps."""
    return 1.0 + STEP * ceil(most * float(uniform(key, np.arange(1))[0]) / STEP)


@lru_cache(maxsize=256)  # a shot that is solved again has the crew of before
def performing(crew: Crew, seed: int) -> Crew:
    """Return the crew as it performs one take; itself where it does not vary.

    Args:
        crew: as asked for, with its level of variability.
        seed: of the take, >= 0.
    """
    if crew.variability == 0.0:
        return crew
    level = crew.variability
    return replace(
        crew,
        operator=_performing(crew.operator, level, seed, "operator"),
        grip=_performing(crew.grip, level, seed, "grip"),
        puller=_performing(crew.puller, level, seed, "puller"),
    )


def _performing(member: Member, level: float, seed: int, name: str) -> Member:
    gain = _factor(_key(seed, name, "gain"), level * GAIN)
    tolerance = _factor(_key(seed, name, "tolerance"), level * TOLERANCE)
    return replace(
        member,
        stiffness_rad_s=member.stiffness_rad_s * gain,
        bandwidth_rad_s=member.bandwidth_rad_s * gain,
        tolerance=member.tolerance * tolerance,
        rest_s=member.rest_s * _longer(_key(seed, name, "rest"), level * REST),
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class Perception:
    """How one member perceives in one take.

    Attributes:
        level: of variability, >= 0; at 0 everything is seen as it is.
        seed: of the take, >= 0.
        member: name of the channel, so that members err apart.
    """

    level: float = 0.0
    seed: int = 0
    member: str = ""

    def seen_s(self, subject: Subject, reaction_s: float) -> FloatArray:
        """Return when each sample of a subject is seen, ascending, (n,) [s]."""
        seen = subject.times_s + reaction_s
        if self.level == 0.0:
            return seen
        seen += self.late_s(np.floor(subject.times_s / EPOCH_S).astype(np.int64))
        return np.maximum.accumulate(seen)

    def late_s(self, epochs: IntArray) -> FloatArray:
        """Return by how much more than the reaction one is late in epochs, (n,) [s]."""
        key = _key(self.seed, self.member, "lateness")
        return self.level * LATENESS_S * uniform(key, epochs)

    def body(self, subject: Subject) -> FloatArray:
        """Return floor and eyes as they are perceived, (n, 6) [m]."""
        body = np.concatenate((subject.floor, subject.eyes), axis=1)
        if self.level == 0.0:
            return body
        off = self._timing(subject) * _speed(subject).T
        body[:, [0, 3]] += off[0][:, None]
        body[:, [2, 5]] += off[1][:, None]
        return body

    def _timing(self, subject: Subject) -> FloatArray:
        """Return by how much a subject is seen ahead of time at its samples [s]."""
        frequency, turns = self.timing_waves(subject.name)
        out: FloatArray = np.empty((1, len(subject.times_s)))
        scale = np.array([self.level * TIMING_S])
        cosine_sums(np.array(subject.times_s), frequency, turns, AMPLITUDE, scale, out)
        timing: FloatArray = out[0]
        return timing

    def timing_waves(self, subject: str) -> tuple[FloatArray, FloatArray]:
        """Return the waves of the error in time about a named subject.

        Returns:
            Frequencies [Hz] and phases [turns], (1, COMPONENTS) each.
        """
        return _timing_waves(self.seed, self.member, subject)


@lru_cache(maxsize=256)
def _timing_waves(
    seed: int, member: str, subject: str
) -> tuple[FloatArray, FloatArray]:
    draws = uniform(
        _key(seed, member, subject, "timing"), np.arange(2 * COMPONENTS)
    ).reshape(2, 1, COMPONENTS)
    low, high = TIMING_BAND_HZ
    frequency = np.empty((1, COMPONENTS))
    in_bins(draws[0], low, high / low, frequency)
    return frequency, draws[1]


AMPLITUDE = frozen(np.full(COMPONENTS, (2.0 / COMPONENTS) ** 0.5))
AS_IT_IS = Perception()


def _speed(subject: Subject) -> FloatArray:
    """Return the velocity on the ground, x and z, over the last moments [m/s].

    (n, 2), from samples at and before each; the first has the second's, as the
    pre-roll has.
    """
    out = np.zeros((len(subject.times_s), 2))
    fresh = np.flatnonzero(subject.fresh)
    if len(fresh) < 2:
        return out
    times, places = subject.times_s[fresh], subject.floor[fresh][:, [0, 2]]
    before = np.searchsorted(times, times - SPEED_S + 1e-9, "right") - 1
    before = np.clip(before, 0, np.maximum(np.arange(len(fresh)) - 1, 0))
    before[0], now = 0, np.arange(len(fresh))
    now[0] = 1
    out[fresh] = (places[now] - places[before]) / (times[now] - times[before])[:, None]
    return out
