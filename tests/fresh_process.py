"""Programs that have to run in a process of their own, to see what it loads."""

import os
import subprocess
import sys
from pathlib import Path


def told(program: str, *words: object, kernels: Path | None = None) -> list[str]:
    """Return the lines that a Python program prints; it has to end well.

    Args:
        program: its text.
        words: its arguments.
        kernels: folder of compiled kernels; None for the usual one.
    """
    environment = dict(os.environ)
    if kernels is not None:
        environment["NUMBA_CACHE_DIR"] = str(kernels)
    done = subprocess.run(
        [sys.executable, "-c", program, *map(str, words)],
        env=environment,
        check=True,
        capture_output=True,
        text=True,
    )
    return done.stdout.splitlines()
