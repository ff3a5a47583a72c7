"""Double step: does a second step wait while the answer to the first is under way?

The second step goes on in the direction of the first, or back to where the first came
from. Refractory times of sustained control were found for reversals only, 0.25 to
0.55 s by the order of what is controlled (van de Kamp, Gawthrop, Gollee & Loram 2013,
PLoS Comput Biol 9(1):e1002843). Of single double steps: Vince 1948, from memory;
Becker & Juergens 1979, Vision Res 19:967-983.
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
LATE_S = 0.03  # over the answer to a first step, from which a second one waited
REFRACTORY_S = (0.25, 0.55)  # van de Kamp et al. 2013: 0th and 2nd order


@dataclass(frozen=True, kw_only=True, slots=True)
class DoubleStep:
    """Latencies of one crew [s]: of the first step, and of a second one by its gap.

    `on_s` are of a second step in the same direction, `back_s` of one back, (n,).
    """

    preset: str
    rest_s: float
    reaction_s: float
    first_s: float
    gap_s: FloatArray
    on_s: FloatArray
    back_s: FloatArray

    def waits_to_s(self, second_s: FloatArray) -> float:
        """Return the longest gap after which a second step still waits [s]."""
        waits = second_s > self.first_s + LATE_S
        return float(self.gap_s[waits].max()) if waits.any() else 0.0


def _bearing(*steps: tuple[int, float]) -> FloatArray:
    """Return the bearing after steps: the frame of each, and its size in steps."""
    frames = np.arange(LAST_FRAME + 1)
    return STEP_RAD * sum(size * (frames >= at) for at, size in steps)


def _onset_s(one: FloatArray, other: FloatArray, times: FloatArray) -> float:
    """Return when two pans part [s], NaN if they never do."""
    apart = np.flatnonzero(np.abs(one - other) > MOVED_RAD)
    return float(times[apart[0]]) if len(apart) else np.nan


def double_step(crew: Crew) -> DoubleStep:
    """Return how late a crew answers the second of two steps of one size.

    The answer is where the pan parts from the same crew's pan without that step.
    """
    rate = float(RATE)
    times = np.arange(LAST_FRAME * 8) / (8 * rate)
    one = (FIRST_STEP_FRAME, 1.0)
    still, _ = pan_of(_bearing((0, 0.0)), crew, times)
    single, _ = pan_of(_bearing(one), crew, times)
    start = FIRST_STEP_FRAME / rate

    def answers(size: float) -> FloatArray:
        found = []
        for gap in GAPS_FRAMES:
            both = _bearing(one, (FIRST_STEP_FRAME + gap, size))
            pan, _ = pan_of(both, crew, times)
            found.append(_onset_s(pan, single, times) - start - gap / rate)
        return np.array(found)

    return DoubleStep(
        preset=crew.preset,
        rest_s=crew.operator.rest_s,
        reaction_s=crew.operator.reaction_s,
        first_s=_onset_s(single, still, times) - start,
        gap_s=np.array(GAPS_FRAMES) / rate,
        on_s=answers(1.0),
        back_s=answers(-1.0),
    )
