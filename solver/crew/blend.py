"""Several beliefs about one motion, weighed by how well each foretold what was seen.

Source: after the interacting multiple models of Blom & Bar-Shalom 1988, IEEE Trans.
Automatic Control 33:780-783, without their mixing of states: our simplification, tested
in tests/solver/crew/test_persistence.py.
"""

import numpy as np

from ..compiled.kernel import kernel

SURE = 12.0  # how much the misses of that time count, as if they were so many
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
        seen = told[0, k, 0]
        least = np.inf
        for j in range(n_models):
            share[j] = -odds[j]
            if seen > 0.0:
                spread = told[j, k, 2] / seen
                share[j] += SURE / 2 * seen * (np.log(told[j, k, 1] / seen) + spread)
            least = min(least, share[j])
        total = 0.0
        for j in range(n_models):
            share[j] = np.exp(least - share[j])
            total += share[j]
        crest[k] = ends = 0.0
        for j in range(n_models):
            share[j] /= total
            crest[k] += share[j] * told[j, k, 3]
            ends += share[j] / lasts[j, k]
        fades[k] = 1.0 / ends
        for c in columns:
            place[k, c] = velocity[k, c] = 0.0
            for j in range(n_models):
                place[k, c] += share[j] * places[j, k, c]
                velocity[k, c] += share[j] * velocities[j, k, c]


@kernel
def steady_crest(ticks, crest):
    """Let a crest (n_ticks,) [m] rise soon and fall late, so that no frame bobs."""
    for k in range(1, ticks.shape[0]):
        before = crest[k - 1]
        lasts = RISE_S if crest[k] > before else FALL_S
        share = -np.expm1(-(ticks[k] - ticks[k - 1]) / lasts)
        crest[k] = before + share * (crest[k] - before)
