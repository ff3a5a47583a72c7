"""How far track is laid: over what the dolly covers, with its run-up and run-out."""

from math import sqrt
from typing import NamedTuple

import numpy as np

from ..arrays import FloatArray


class LaidTrack(NamedTuple):
    """Track that a dolly needs, as positions along the rail of its setup [m].

    Attributes:
        low: of its near end, below 0 where the rail is too short to start or stop on.
        high: of its far end, beyond the rail's length likewise.
        run_up_m: from a standstill to the speed of the first sample.
        run_out_m: from the speed of the last sample to a standstill.
    """

    low: float
    high: float
    run_up_m: float
    run_out_m: float


def laid_track(rail: FloatArray, *, max_accel: float, max_jerk: float) -> LaidTrack:
    """Return the track that a dolly needs.

    Args:
        rail: position [m], speed [m/s] and acceleration [m/s2] along the rail at every
            sample, handles too, (n, 3).
        max_accel: of the dolly [m/s2], > 0.
        max_jerk: of the dolly [m/s3], > 0.
    """
    # Backwards in time the first sample is a last one, with its speed turned round.
    run_up, run_out = (
        stop_distance_m(
            abs(v), along * np.sign(v), max_accel=max_accel, max_jerk=max_jerk
        )
        for v, along in ((rail[0, 1], -rail[0, 2]), (rail[-1, 1], rail[-1, 2]))
    )
    before = rail[0, 0] - np.sign(rail[0, 1]) * run_up
    after = rail[-1, 0] + np.sign(rail[-1, 1]) * run_out
    low = min(float(rail[:, 0].min()), before, after)
    high = max(float(rail[:, 0].max()), before, after)
    return LaidTrack(float(low), float(high), float(run_up), float(run_out))


def stop_distance_m(
    speed: float, accel: float, *, max_accel: float, max_jerk: float
) -> float:
    """Return what a dolly needs to stop, or backwards in time to get going [m].

    Its pull is first let go, if it still speeds up, and then it is braked as hard as
    the limits allow; braking already under way is not counted, which errs on the long
    side.

    Args:
        speed: [m/s], >= 0.
        accel: along the motion, positive speeds up [m/s2].
        max_accel: [m/s2], > 0.
        max_jerk: [m/s3], > 0.

    Source: our derivation, tested against stepwise integration.
    """
    pull = max(0.0, accel) if speed > 0 else 0.0
    ease_s = pull / max_jerk
    eased = speed * ease_s + pull * ease_s**2 / 3
    speed += pull * ease_s / 2
    knee = max_accel**2 / max_jerk  # slower, the full brake is never reached
    if speed < knee:
        return eased + speed * sqrt(speed / max_jerk)
    return eased + speed * (speed / max_accel + max_accel / max_jerk) / 2
