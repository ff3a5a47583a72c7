"""Compiles the solver's kernels as it is imported.

For the process that workers are forked from: each of them then starts with compiled
code in memory, in place of reading it from disk. Nothing else should import this.
"""

from .solve_shot import solve_shot
from .warm import warm_up

__all__ = ["solve_shot"]

warm_up()
