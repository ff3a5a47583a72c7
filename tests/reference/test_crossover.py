"""Limits of crossover times delay, of the loop that stands for people and of the crew.

x' = wc (r - x)(t - tau). Computed: the loop is stable under pi / 2 (Nyquist), and does
not overshoot up to 1 / e (Gorecki et al.; Marshall et al. 1992, from memory).
"""

import math

import numpy as np
import pytest
from evidence.baselines import integrated
from evidence.people import crew_follows, preset, runs_of

from carrellata.solver.presets import PRESETS

RATE = 96.0
DELAY_S = 0.25  # 24 frames, in whole steps


def stepped(product: float, seconds: float = 40.0) -> np.ndarray:
    """Return the answer to a unit step in the first instant, frames from it on."""
    values = np.ones(int(seconds * RATE))
    values[0] = 0.0
    return integrated(values, RATE, product / DELAY_S, DELAY_S)


@pytest.mark.parametrize(
    ("product", "overshoot"),
    [(0.3679, 0.0), (0.5, 0.0405), (0.7391, 0.2429), (1.0, 0.5), (1.2, 0.7)],
)
def test_a_step_is_overshot_by_what_the_product_says(product, overshoot):
    assert stepped(product).max() - 1 == pytest.approx(overshoot, abs=2e-3)


@pytest.mark.parametrize(("product", "grows"), [(1.50, False), (1.64, True)])
def test_the_loop_is_stable_up_to_half_pi(product, grows):
    miss = np.abs(stepped(product) - 1)
    late, early = miss[-480:].max(), miss[480:960].max()
    assert bool(late > early) is grows is (product > math.pi / 2)


@pytest.mark.parametrize("name", sorted(PRESETS))
def test_the_crew_stays_under_the_limit_in_every_run(name):
    found = runs_of(crew_follows(preset(name)), runs=20)
    product = found.crossover * found.delay_s
    assert product.max() < math.pi / 2
    # And it is no loop without overshoot: that needs a product under 1 / e.
    assert product.mean() > 1 / math.e
