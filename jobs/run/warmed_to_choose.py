"""Compiles the kernels of choosing a setup, too, as it is imported.

As `warmed` does, for the process that workers are forked from.
"""

from .judge_once import judge_shot
from .solve_shot import solve_shot
from .warm import warm_up

__all__ = ["judge_shot", "solve_shot"]

warm_up(choosing=True)
