"""The search for the crew member that explains a take, with intervals.

A coarse grid over presets, delay and tolerance; then walks from the best of each
preset, the better ones longer (successive halving), and from the very best again after
a kick to delay and rest, which sit on plateaus of whole frames. Where the best so far
explains too little, no crew will explain the take, and the search ends. Everything
tried is kept: intervals are the range of trials that come out best when the take's
windows are drawn again with replacement (bootstrap), or are within chance of the best.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from ..arrays import FloatArray
from .crew import Bench, PresetTrial
from .knobs import LIMIT_KNOBS

GRID_REACTION_S = (0.08, 0.125, 0.17, 0.21, 0.25, 0.29, 0.38)
GRID_TOLERANCE = (0.04, 0.08, 0.15)
GRID_REST_S = (0.25,)
LEAD_ROOM = 0.15
WITH_LEAD = 12  # of the grid's best are tried with lead room too
DOLLY_REACTION_S = (0.15, 0.28)
DOLLY_TOLERANCE_M = (0.15, 0.28)
DOLLY_REST_S = (0.4,)
DOLLY_ENDS_M = (0.05, 0.7, 3.0)
ROUNDS = ((12, 24), (4, 60), (2, 120))  # starts kept, trials each
DOLLY_ROUNDS = ((8, 16), (3, 40), (1, 60))
# Share of the slow departure from exact aim that the best trial has to explain after
# the grid, and after the first round of walks, for the search to go on. What no crew
# made is explained worse than by exact aim (made cameras: tests/evidence/confusion.py).
WORTH_WALKING = 0.0
WORTH_GOING_ON = 0.0
PROMISING = 8  # of the grid's best are asked
KICKS = 1
KICK_TRIALS = 60
LIMIT_TRIALS = 60
SURE = 0.95
DRAWS = 200
MOST_ALIKE = 16
POLISH_TRIALS = 120
WITHIN = 0.02  # of the mean log loss: a like trial, whatever the draw
UNSURE = 0.5  # of the loss over what noise alone leaves, added to it
SMALLEST_STEP = 0.02


@dataclass(frozen=True, kw_only=True, slots=True)
class Range:
    """A fitted number with its interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Found:
    """The best member found for a channel.

    Attributes:
        trial: the best trial; its preset gives what was not searched.
        ranges: every knob by name.
        miss: r.m.s. of the best trial's misses, half frames or metres.
        typical: their median magnitude; far below the r.m.s. where decisions agree
            most of the time.
        curves: what the best trial does, (channels, n).
        n_trials: how many were run.
        bench: on which the best trial runs.
        like: trials that this channel cannot distinguish from the best.
        hopeless: no crew explains the take, and the search was ended.
    """

    trial: PresetTrial
    ranges: dict[str, Range]
    miss: float
    typical: float
    curves: FloatArray
    n_trials: int
    bench: Bench
    like: tuple[PresetTrial, ...]
    hopeless: bool = False


class _Walk:
    """A random walk downhill that shortens its steps where it fails."""

    def __init__(
        self, bench: Bench, trial: PresetTrial, rng: np.random.Generator
    ) -> None:
        self.bench, self.best, self.rng = bench, trial, rng
        self.step = 1.0

    @property
    def done(self) -> bool:
        """Whether nothing but noise is left."""
        return self.best.loss <= self.bench.enough

    def _tried(self) -> FloatArray:
        values = self.best.values.copy()
        knobs = self.bench.knobs
        free = [k for k, knob in enumerate(knobs) if knob.step > 0.0]
        one = free[int(self.rng.integers(len(free)))]
        alone = self.rng.random() < 0.6
        for k in [one] if alone else range(len(knobs)):
            knob = knobs[k]
            if knob.name == "lead_room" and values[k] == 0.0:
                continue  # the grid saw no use for it
            move = self.rng.normal() * self.step * knob.step * (1.0 if alone else 0.5)
            values[k] = values[k] * np.exp(move) if knob.ratio else values[k] + move
            values[k] = min(max(values[k], knob.low), knob.high)
        return values

    def go(self, n_trials: int, archive: list[PresetTrial]) -> PresetTrial:
        """Walk for a number of trials, keeping all of them."""
        n_knobs = len(self.bench.knobs)
        while n_trials > 0 and self.step > SMALLEST_STEP and not self.done:
            won = False
            for _ in range(min(2 * n_knobs, n_trials)):
                trial = self.bench.run(self.best.preset, self._tried())
                archive.append(trial)
                if trial.loss < self.best.loss:
                    self.best, won = trial, True
            n_trials -= 2 * n_knobs
            self.step = min(self.step * 1.2, 1.5) if won else self.step * 0.75
        return self.best


def grid(bench: Bench, held: FloatArray) -> list[PresetTrial]:
    """Run the coarse grid and return its trials, best first.

    Args:
        bench: of the channel.
        held: first guess of where the member holds, the last knobs.
    """
    if bench.dolly is None:
        steps = list(product(DOLLY_REACTION_S, DOLLY_TOLERANCE_M, DOLLY_REST_S))
        ends = [np.array([held[0], *pair]) for pair in product(DOLLY_ENDS_M, repeat=2)]
    else:
        steps = list(product(GRID_REACTION_S, GRID_TOLERANCE, GRID_REST_S))
        ends = [held]
    trials = [
        bench.run(
            preset,
            np.array([*step, member.bandwidth_rad_s, member.stiffness_rad_s, *end]),
        )
        for preset, member in bench.base.items()
        for step in steps
        for end in ends
    ]
    trials.sort(key=lambda trial: trial.loss)
    if bench.dolly is not None:
        trials[:WITH_LEAD] = [_with_lead(bench, one) for one in trials[:WITH_LEAD]]
    return sorted(trials, key=lambda trial: trial.loss)


def _with_lead(bench: Bench, trial: PresetTrial) -> PresetTrial:
    """Return a trial, or the same with lead room either way where that is better."""
    tried = [trial]
    for sign in (-1.0, 1.0):
        values = trial.values.copy()
        values[-3] = LEAD_ROOM
        values[-2] += sign * LEAD_ROOM
        tried.append(bench.run(trial.preset, values))
    return min(tried, key=lambda one: one.loss)


def search(
    bench: Bench,
    held: FloatArray,
    *,
    seed: int = 0,
    share: Callable[[FloatArray], float] | None = None,
) -> Found:
    """Find the member of the crew that explains a channel of a take best.

    Args:
        bench: of the channel.
        held: first guess of where the member holds, the last knobs of the bench.
        seed: of the walks; the same seed finds the same.
        share: which share of the take's slow departure from exact aim a trial's curves
            explain, at most 1; None where that is not known.
    """

    def is_worth(trial: PresetTrial, least: float) -> bool:
        return share is None or share(bench.curves(trial.preset, trial.values)) >= least

    rng = np.random.default_rng(seed)
    archive = grid(bench, held)
    best = archive[0]
    # One decision at another time spoils the best by loss, but not all that are near.
    if any(is_worth(trial, WORTH_WALKING) for trial in archive[:PROMISING]):
        walked = _walked(bench, archive, rng, is_worth)
        if walked is not None:
            best = _kicked(bench, walked, archive, rng)
            return _with_limits(bench, best, archive, rng)
    best = min(archive, key=lambda trial: trial.loss)
    found = _with_limits(bench, best, archive, rng, n_trials=0)
    return replace(found, hopeless=True)


def _walked(
    bench: Bench,
    archive: list[PresetTrial],
    rng: np.random.Generator,
    is_worth: Callable[[PresetTrial, float], bool],
) -> PresetTrial | None:
    """Walk from the grid's best of each preset, and return the best trial.

    None where the first round says that there is nothing to find.
    """
    rounds = ROUNDS if bench.dolly is not None else DOLLY_ROUNDS
    share = rounds[0][0] // len(bench.base)
    firsts = [
        trial
        for preset in bench.base
        for trial in [one for one in archive if one.preset == preset][:share]
    ]
    walks = [_Walk(bench, trial, rng) for trial in firsts]
    for n_kept, n_trials in rounds:
        walks = sorted(walks, key=lambda walk: walk.best.loss)[:n_kept]
        for walk in walks:
            walk.go(n_trials, archive)
            if walk.done:
                break
        best = min((walk.best for walk in walks), key=lambda trial: trial.loss)
        if (n_kept, n_trials) == rounds[0] and not is_worth(best, WORTH_GOING_ON):
            return None
    return best


def _kicked(
    bench: Bench,
    best: PresetTrial,
    archive: list[PresetTrial],
    rng: np.random.Generator,
) -> PresetTrial:
    """Walk on from the best trial with delay and rest a frame or so away."""
    names = [knob.name for knob in bench.knobs]
    reaction, rest = names.index("reaction_s"), names.index("rest_s")
    tick = float(bench.ticks[1] - bench.ticks[0])
    for _ in range(KICKS if best.loss > bench.enough else 0):
        for step in (-1.0, 1.0):
            values = best.values.copy()
            values[reaction] = max(0.0, values[reaction] + step * tick)
            values[rest] = max(0.05, values[rest] + rng.normal() * tick)
            walk = _Walk(bench, bench.run(best.preset, values), rng)
            walk.step = 0.5
            found = walk.go(KICK_TRIALS, archive)
            best = min(best, found, key=lambda trial: trial.loss)
    walk = _Walk(bench, best, rng)
    walk.step = 0.3
    return walk.go(KICK_TRIALS, archive)


def _with_limits(
    bench: Bench,
    best: PresetTrial,
    archive: list[PresetTrial],
    rng: np.random.Generator,
    n_trials: int = LIMIT_TRIALS,
) -> Found:
    """Free the limits too, scan each knob for its plateau, and sum up."""
    member = bench.member(best.preset, best.values)
    n_own = len(bench.knobs)
    held = n_own - 3
    wide = replace_knobs(bench, held)
    limits = [getattr(member, knob.name) for knob in LIMIT_KNOBS]
    archive[:] = [_widened(bench, trial, held) for trial in archive]
    values = np.insert(best.values, held, limits)
    walk = _Walk(wide, wide.run(best.preset, values), rng)
    walk.step = 0.3
    best = walk.go(n_trials, archive)
    for k, knob in enumerate(wide.knobs):
        if knob.step == 0.0:
            continue
        for sign in (-1.0, 1.0):
            reach = SMALLEST_STEP
            for _ in range(5):
                tried = best.values.copy()
                move = sign * reach * knob.step
                tried[k] = tried[k] * np.exp(move) if knob.ratio else tried[k] + move
                tried[k] = min(max(tried[k], knob.low), knob.high)
                trial = wide.run(best.preset, tried)
                archive.append(trial)
                if trial.loss > best.loss + 0.5:
                    break
                reach *= 3.0
    bench.n_trials += wide.n_trials
    return _found(wide, archive, bench.n_trials)


def polished(bench: Bench, trial: PresetTrial, *, seed: int) -> Found:
    """Walk on from a trial on a bench whose limits are knobs, and sum up."""
    archive = [trial]
    walk = _Walk(bench, trial, np.random.default_rng(seed))
    walk.step = 0.5
    walk.go(POLISH_TRIALS, archive)
    return _found(bench, archive, bench.n_trials)


def _found(wide: Bench, archive: list[PresetTrial], n_trials: int) -> Found:
    """Return the best of all trials on a bench, and what is as good."""
    best = min(archive, key=lambda trial: trial.loss)
    off = wide.misses(best.preset, best.values)
    return Found(
        trial=best,
        ranges=_ranges(wide, best, archive),
        miss=float(np.sqrt(np.mean(off**2))),
        typical=float(np.median(np.abs(off))),
        curves=wide.curves(best.preset, best.values),
        n_trials=n_trials,
        bench=wide,
        like=_alike(best, archive),
    )


def _alike(best: PresetTrial, archive: list[PresetTrial]) -> tuple[PresetTrial, ...]:
    """Return a few trials as good as the best, as different as they come."""
    near = [one for one in archive if one.loss <= best.loss + WITHIN]
    near.sort(key=lambda one: tuple(one.values))
    return tuple(near[:: max(1, len(near) // MOST_ALIKE)])


def replace_knobs(bench: Bench, at: int) -> Bench:
    """Return the bench with knobs for the member's limits inserted."""
    return replace(
        bench,
        knobs=(*bench.knobs[:at], *LIMIT_KNOBS, *bench.knobs[at:]),
        n_trials=0,
    )


def _widened(bench: Bench, trial: PresetTrial, at: int) -> PresetTrial:
    member = bench.base[trial.preset]
    limits = [getattr(member, knob.name) for knob in LIMIT_KNOBS]
    return replace(trial, values=np.insert(trial.values, at, limits))


def _ranges(
    bench: Bench, best: PresetTrial, archive: list[PresetTrial]
) -> dict[str, Range]:
    near = sorted(archive, key=lambda trial: trial.loss)[:3000]
    losses = np.array([trial.windows for trial in near])
    values = np.array([trial.values for trial in near])
    n_windows = losses.shape[1]
    rng = np.random.default_rng(0)
    low = values[0].copy()
    high = values[0].copy()
    drawn = []
    for _ in range(DRAWS):
        weights = rng.multinomial(n_windows, np.full(n_windows, 1 / n_windows))
        mean = losses @ (weights / n_windows)
        drawn.append(values[int(np.argmin(mean))])
    tail = (1.0 - SURE) / 2
    # Where decisions part, a trial is only the best of many alike.
    within = WITHIN + UNSURE * max(0.0, best.loss - bench.enough)
    # And all that leave noise alone explain the take alike.
    within = max(within, bench.enough - best.loss)
    like = values[losses.mean(axis=1) <= losses[0].mean() + within]
    low = np.minimum(np.quantile(drawn, tail, axis=0), like.min(axis=0))
    high = np.maximum(np.quantile(drawn, 1 - tail, axis=0), like.max(axis=0))
    return {
        knob.name: Range(
            value=float(best.values[k]),
            low=float(min(low[k], best.values[k])),
            high=float(max(high[k], best.values[k])),
        )
        for k, knob in enumerate(bench.knobs)
    }
