"""The moving mean, beside the one of the library that it stands in for."""

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d

from carrellata.solver.action.smooth import smoothed


@pytest.mark.parametrize("n", [1, 2, 9, 200])
@pytest.mark.parametrize("width", [0.4, 4.2, 10.5])
def test_weights_are_a_gaussian_and_the_ends_are_held(n: int, width: float) -> None:
    values = np.random.default_rng(n).normal(size=(n, 3))
    other = gaussian_filter1d(values, width, axis=0, mode="nearest")
    assert np.allclose(smoothed(values, width), other, rtol=0, atol=1e-15)
