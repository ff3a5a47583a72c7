"""How long a believed velocity lasts: as long as the motion has been steady.

With one constant for all, either an even walk is believed to slow down, and the camera
pumps, or one who turns is believed to go on.

Source: our derivation, tested in tests/solver/crew/test_persistence.py.
"""

import numpy as np

from ..compiled.kernel import kernel
from .belief import CLOCK_S

STEADY_S = 0.6  # over which the change of a velocity is looked at
# How often a velocity outlasts the time in which it would change wholly: on the ground,
# and of heights, since what goes up comes down.
STEADY, HEIGHT_STEADY = 4.0, 1.5
EVEN_S = 1000.0  # the longest that a velocity lasts


@kernel
def believe_fades(ticks, velocity, columns, steady, least, fades):
    """Fill how long believed velocities last, (n_ticks,) [s].

    A velocity lasts as long as it would take to change by its own size at the rate at
    which it has changed, times `steady`; at least `least` [s]. Only what is believed by
    a tick is looked at.

    Args:
        ticks: ascending, (n_ticks,) [s].
        velocity: believed, (n_ticks, m) [m/s].
        columns: of these m that are parts of the velocity.
        steady: how often it outlasts the time in which it would change wholly.
        least: the shortest that it lasts [s].
        fades: filled.
    """
    back = 0
    for k in range(ticks.shape[0]):
        while back + 1 < k and ticks[k] - ticks[back + 1] >= STEADY_S - CLOCK_S:
            back += 1
        span = ticks[k] - ticks[back]
        fades[k] = fade_since(velocity, columns, back, k, span, steady, least)


@kernel
def fade_since(velocity, columns, back, k, span, steady, least):
    """Return how long the velocity of row k lasts; row `back` was a span ago [s]."""
    speed = change = 0.0
    for c in columns:
        speed += velocity[k, c] ** 2
        change += (velocity[k, c] - velocity[back, c]) ** 2
    change = np.sqrt(change) / max(span, 1e-9)
    return lasting(steady * np.sqrt(speed), change, least)


@kernel
def lasting(speed, change, least):
    """Return how long a speed lasts that changes at a rate, at least `least` [s]."""
    if speed >= EVEN_S * change:
        return EVEN_S if speed > 0.0 else least
    return max(least, speed / change)
