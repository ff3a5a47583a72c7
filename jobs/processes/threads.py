"""One thread in every numerical library: the order of sums is part of the result."""

import os

_VARIABLES = (
    "OMP_NUM_THREADS",
    "OPENBLAS_NUM_THREADS",
    "MKL_NUM_THREADS",
    "NUMBA_NUM_THREADS",
)


def use_one_thread() -> None:
    """Hold the libraries that load after this call, also in child processes, to one."""
    for name in _VARIABLES:
        os.environ[name] = "1"
