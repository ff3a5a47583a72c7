"""The example's sprint against published splits.

Curve v = Vm (1 - exp(-t / tau)): Furusawa, Hill & Parkinson 1927; tau 0.768 +- 0.068 s
of fast 40-yard athletes: Clark, Rieger, Bruno & Stearne 2019, J Strength Cond Res
33(6):1542-1550. Splits of a 100 m run in 9.88 s, cumulative s at each 10 m:
Aftalion 2016, arXiv 1606.09497, table 1 (whose run it is was not checked).
"""

import numpy as np
import pytest

from carrellata.jobs.examples.ferry_dash.motion import Pace

SPLITS_S = (1.87, 2.89, 3.82, 4.70, 5.56, 6.41, 7.27, 8.13, 9.00, 9.88)


def time_to(distance_m: float, top_m_s: float, tau_s: float) -> float:
    """Seconds from rest to a distance, by bisection of the example's own pace."""
    pace = Pace(start_s=0.0, speed_m_s=top_m_s, tau_s=tau_s)
    low, high = 0.0, 60.0
    for _ in range(60):
        middle = (low + high) / 2
        short = pace.after(middle, 0.0)[0] < distance_m
        low, high = (middle, high) if short else (low, middle)
    return high


@pytest.mark.parametrize(("distance_m", "expected_s"), [(10, 1.7425), (36.576, 4.6182)])
def test_splits_of_a_forty_yard_athlete(distance_m, expected_s):
    # Vm 9.5 m/s and tau 0.77 s put into the closed form of the distance.
    assert time_to(distance_m, 9.5, 0.77) == pytest.approx(expected_s, abs=1e-4)


def test_one_pace_fits_the_splits_of_a_hundred_metres():
    # To 80 m, where sprinters still hold their speed; reaction time is fitted too.
    places = 10.0 * np.arange(1, 9)
    times = np.array(SPLITS_S[:8])

    def miss(top: float, tau: float, reaction: float) -> float:
        pace = Pace(start_s=0.0, speed_m_s=top, tau_s=tau)
        gone = [pace.after(float(t) - reaction, 0.0)[0] for t in times]
        return float(np.sqrt(np.mean((np.array(gone) - places) ** 2)))

    found = min(
        (miss(top, tau, reaction), top, tau)
        for top in np.arange(11.0, 13.0, 0.05)
        for tau in np.arange(0.9, 1.6, 0.02)
        for reaction in (0.1, 0.15, 0.2)
    )
    print(f"r.m.s. {found[0]:.3f} m at Vm {found[1]:.2f} m/s, tau {found[2]:.2f} s")
    assert found[0] < 0.25
    assert 11.5 < found[1] < 12.5
