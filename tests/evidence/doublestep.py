"""Double step: does a second step wait while the answer to the first is under way?

People who have begun to answer one step answer a second late if it comes soon after
(Vince 1948, from memory; Becker & Juergens 1979, Vision Res 19:967-983). Refractory
times of sustained control were found for reversals only (van de Kamp, Gawthrop, Gollee
& Loram 2013, PLoS Comput Biol 9(1):e1002843): steps in one direction are not their
case.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from carrellata.solver.presets import Crew

from .tracking import RATE, pan_of

FloatArray = NDArray[np.float64]

FIRST_STEP_FRAME = 72
LAST_FRAME = 240
# Over every preset's tolerance, and too small for its urgency, which shortens the rest.
STEP_RAD = np.radians(3.5)
GAPS_FRAMES = tuple(range(1, 49))
MOVED_RAD = 1e-9


@dataclass(frozen=True, kw_only=True, slots=True)
class DoubleStep:
    """Latencies of one crew [s]: of the first step, and of the second by its gap."""

    preset: str
    rest_s: float
    reaction_s: float
    first_s: float
    gap_s: FloatArray
    second_s: FloatArray


def _bearing(*steps: int) -> FloatArray:
    frames = np.arange(LAST_FRAME + 1)
    return STEP_RAD * sum((frames >= at).astype(float) for at in steps)


def _onset_s(one: FloatArray, other: FloatArray, times: FloatArray) -> float:
    """Return when two pans part [s], NaN if they never do."""
    apart = np.flatnonzero(np.abs(one - other) > MOVED_RAD)
    return float(times[apart[0]]) if len(apart) else np.nan


def double_step(crew: Crew) -> DoubleStep:
    """Return how late a crew answers the second of two equal steps.

    The answer is where the pan parts from the same crew's pan without that step.
    """
    rate = float(RATE)
    times = np.arange(LAST_FRAME * 8) / (8 * rate)
    still, _ = pan_of(_bearing(), crew, times)
    single, _ = pan_of(_bearing(FIRST_STEP_FRAME), crew, times)
    start = FIRST_STEP_FRAME / rate
    second = []
    for gap in GAPS_FRAMES:
        both = _bearing(FIRST_STEP_FRAME, FIRST_STEP_FRAME + gap)
        pan, _ = pan_of(both, crew, times)
        second.append(_onset_s(pan, single, times) - start - gap / rate)
    return DoubleStep(
        preset=crew.preset,
        rest_s=crew.operator.rest_s,
        reaction_s=crew.operator.reaction_s,
        first_s=_onset_s(single, still, times) - start,
        gap_s=np.array(GAPS_FRAMES) / rate,
        second_s=np.array(second),
    )
