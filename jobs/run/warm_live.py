"""Compiles what a crew that works live needs."""

import numpy as np

from ...solver.live.crew import StepCrew
from ...solver.live.watch import SEEN_WIDTH
from .warm import given_shot


def step() -> None:
    """Let the crew of a short shot start, see that nobody is there, and step on."""
    crew = StepCrew(given_shot())
    nothing = np.zeros(SEEN_WIDTH)
    crew.step(crew.see(crew.start(), nothing), nothing)
