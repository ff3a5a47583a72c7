"""Several beliefs about one motion, weighed by how well each foretold what was seen.

Source: after the interacting multiple models of Blom & Bar-Shalom 1988, IEEE Trans.
Automatic Control 33:780-783, without their mixing of states: our simplification, tested
in tests/solver/crew/test_persistence.py.
"""

import numpy as np

from ..compiled.kernel import kernel
from ..elementary.exponential import exp, expm1

SURELY = 40.0  # a model so much less likely, in logarithms, has no share
RISE_S, FALL_S = 0.4, 3.0  # in which a crest is believed, and forgotten


@kernel
def blend_models(told, odds, models, columns, place, velocity, fades, crest):
    """Fill what is believed by models weighed by their innovations.

    The weight of a model is its likelihood over the last `MEMORY_S`, with the scale of
    the noise taken out: misses are only compared. Where nothing was seen their odds
    count.

    Args:
        told: what each model told, (n_models, n_ticks, TOLD).
        odds: logarithm of each model's weight before anything was seen, (n_models,).
        models: places [m] and velocities [m/s] that each believes, (n_models, n_ticks,
            m) each, and how long these last, (n_models, n_ticks) [s].
        columns: of these m that are blended.
        place: filled with the blended places, (n_ticks, m) [m].
        velocity: filled with the blended velocities, (n_ticks, m) [m/s].
        fades: filled with how long the velocity lasts, (n_ticks,) [s].
        crest: filled with the height of the bounce over its middle, (n_ticks,) [m].
    """
    places, velocities, lasts = models
    n_models = told.shape[0]
    share = np.empty(n_models)
    for k in range(place.shape[0]):
        least = np.inf
        for j in range(n_models):
            share[j] = told[j, k, 0] - odds[j]
            least = min(least, share[j])
        total = 0.0
        for j in range(n_models):
            worse = share[j] - least
            share[j] = exp(-worse) if worse < SURELY else 0.0
            total += share[j]
        height = ends = 0.0
        for c in columns:
            place[k, c] = velocity[k, c] = 0.0
        for j in range(n_models):
            if share[j] == 0.0:
                continue
            part = share[j] / total
            height += part * told[j, k, 1]
            ends += part / lasts[j, k]
            for c in columns:
                place[k, c] += part * places[j, k, c]
                velocity[k, c] += part * velocities[j, k, c]
        crest[k], fades[k] = height, 1.0 / ends


@kernel
def steady_crest(ticks, crest):
    """Let a crest (n_ticks,) [m] rise soon and fall late, so that no frame bobs."""
    for k in range(1, ticks.shape[0]):
        crest[k] = steadied(crest[k - 1], crest[k], ticks[k] - ticks[k - 1])


@kernel
def steadied(before, now, step_s):
    """Return a crest [m] that rises soon and falls late, a step [s] after another."""
    lasts = RISE_S if now > before else FALL_S
    share = -expm1(-step_s / lasts)
    return before + share * (now - before)
