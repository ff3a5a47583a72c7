"""The operator aims from where the dolly will be, not from where it is."""

import numpy as np
import pytest
from evidence.following import evenly

from carrellata.solver.take import operate


@pytest.mark.parametrize("speed", [0.8, 1.3])
def test_who_walks_abreast_of_the_dolly_stays_in_the_middle(speed):
    # The bearing stands still. From where the dolly is at the moment of a decision, who
    # walks would seem to leave, and the pan would run ahead.
    take = operate(evenly("track", speed, "brisk"))
    abreast = take.times_s - take.times_s[0] > 3.0
    abreast &= np.abs(take.rail[:, 1]) > 0.3 * speed
    assert abreast.sum() > 48
    print(f"{speed} m/s: {np.abs(take.u[abreast]).max():.3f} half frames")
    assert np.abs(take.u[abreast]).max() < 0.05
