"""The operator as a manual tracker: pan alone, on sticks, target on a circle.

The subject runs on a circle around the lens, so its bearing is the target exactly, at
the distance where a 50 mm lens shows the whole figure; the lens stands at the height
of the aim point, so tilt has nothing to do.
"""

from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray
from shots import HEIGHT_M, framing, shot, subject

from carrellata.solver.action.body import EYES
from carrellata.solver.crew.perform import perform
from carrellata.solver.presets import PRESETS, Crew
from carrellata.solver.rigs.sticks import sticks as make_sticks

from .identify import Identified, identify
from .targets import TARGETS, Target, band_limited

FloatArray = NDArray[np.float64]

RATE = Fraction(48)
FOCAL_MM = 50.0
SAMPLES = 4096  # of a period
RUNS = 6
LEAD_S = 8.0  # not judged: the crew finds its stride
ONE_THIRD_BANDS = (1.5, 2.5, 4.0)


@dataclass(frozen=True, kw_only=True, slots=True)
class Tracking:
    """A crew on a target: what was identified, and decisions a second."""

    preset: str
    target: Target
    found: Identified
    decisions_per_s: float
    tolerances: float


def pan_of(
    bearing: FloatArray, crew: Crew, at_s: FloatArray, seed: int = 0
) -> tuple[FloatArray, int]:
    """Return the pan (k,) [rad] at times after the first sample, and its decisions.

    Args:
        bearing: of the subject, one a frame at 48 frames a second, (n,) [rad].
        crew: whose operator pans.
        at_s: seconds after the first sample, ascending, (k,).
        seed: of the take, for a crew that varies.
    """
    asked = framing("full", focal_mm=FOCAL_MM)
    d = asked.distance_m
    floor = np.column_stack([-d * np.sin(bearing), 0 * bearing, -d * np.cos(bearing)])
    place = make_sticks([0.0, asked.aim * EYES * HEIGHT_M, 0.0])
    one = shot(subject(floor, RATE, first=0), place, rate=RATE, crew=crew, seed=seed)
    plans = perform(one).pan
    inside = (plans.starts_s >= at_s[0]) & (plans.starts_s <= at_s[-1])
    return plans.at(at_s)[:, 0], int(inside.sum())


def half_frame_rad() -> float:
    """Return the half angle of view across, to which tolerances refer [rad]."""
    one = shot(subject(np.zeros((2, 3)), RATE), make_sticks([0, 1, 9]))
    return float(np.arctan(one.tangents[0]))


def track(
    target: Target, crew: Crew, *, runs: int = RUNS, sign: float = 1.0
) -> Tracking:
    """Run a crew on a target, phases drawn anew each run, and identify it.

    `sign` -1 shows the crew the target's mirror image: a crew that turns the wrong way.
    """
    seconds = LEAD_S + target.period_s
    frames = np.arange(int(seconds * RATE) + 2) / float(RATE)
    at = LEAD_S + np.arange(SAMPLES) * target.period_s / SAMPLES
    wanted, got, decisions = [], [], 0
    for seed in range(runs):
        phase = target.phases(seed)
        pan, count = pan_of(sign * target.at(frames, phase), crew, at, seed)
        wanted.append(target.at(at, phase))
        got.append(pan)
        decisions += count
    return Tracking(
        preset=crew.preset,
        target=target,
        found=identify(np.array(wanted), np.array(got), target.bins, target.period_s),
        decisions_per_s=decisions / (runs * target.period_s),
        tolerances=target.fast_rms / (crew.operator.tolerance * half_frame_rad()),
    )


def all_tracking() -> list[Tracking]:
    """Return every preset on every target."""
    return [track(target, crew) for crew in PRESETS.values() for target in TARGETS]


def one_third_law(crew: Crew, crossover: float) -> list[dict[str, float]]:
    """Return error shares on rectangular spectra beside (band / crossover)^2 / 3."""
    rows = []
    for band in ONE_THIRD_BANDS:
        found = track(band_limited(band, shelf=False), crew).found
        law = (band / crossover) ** 2 / 3
        rows.append({"band_rad_s": band, "measured": found.error_share, "law": law})
    return rows


def size_dependence(target: Target, crew: Crew) -> list[dict[str, float]]:
    """Return crossover and delay with the target scaled: the dead band's work."""
    rows = []
    for scale in (0.25, 0.5, 1.0, 2.0, 4.0):
        scaled = Target(
            name=target.name,
            period_s=target.period_s,
            bins=target.bins,
            amplitude=target.amplitude * scale,
            source=target.source,
        )
        one = track(scaled, crew, runs=3)
        rows.append(
            {
                "scale": scale,
                "tolerances": one.tolerances,
                "crossover_rad_s": one.found.crossover,
                "delay_s": one.found.delay_s,
                "remnant": one.found.remnant,
            }
        )
    return rows
