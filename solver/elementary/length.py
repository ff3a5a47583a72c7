"""The length of a vector, from its parts."""

import numpy as np

from ..compiled.kernel import kernel


@kernel
def hypot(x, y):
    """Return the length of (x, y), within one unit in the last place.

    Parts have to lie below 1e150, and what counts of them above 1e-150.
    """
    return np.sqrt(x * x + y * y)
