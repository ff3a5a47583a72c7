"""The numbers of a trial that a search moves, with their bounds and first steps."""

from typing import NamedTuple


class Knob(NamedTuple):
    """One number of a trial: bounds, and a first step, of its logarithm if `ratio`."""

    name: str
    low: float
    high: float
    step: float
    ratio: bool


MEMBER_KNOBS = (
    Knob("reaction_s", 0.0, 0.8, 0.04, False),
    Knob("tolerance", 0.008, 0.6, 0.15, True),
    Knob("rest_s", 0.05, 1.0, 0.15, True),
    Knob("bandwidth_rad_s", 3.0, 30.0, 0.12, True),
    Knob("stiffness_rad_s", 1.5, 16.0, 0.10, True),
)
LIMIT_KNOBS = (
    Knob("max_speed", 1e-3, 1e3, 0.1, True),
    Knob("max_accel", 1e-3, 1e3, 0.1, True),
    Knob("max_jerk", 1e-3, 1e4, 0.1, True),
)
HEAD_KNOBS = (
    Knob("lead_room", 0.0, 0.8, 0.04, False),
    Knob("u", -1.5, 1.5, 0.0, False),
    Knob("v", -1.5, 1.5, 0.0, False),
)
DOLLY_KNOBS = (
    Knob("beside", -50.0, 50.0, 0.1, False),
    Knob("before_m", 0.01, 10.0, 0.3, False),
    Knob("after_m", 0.01, 10.0, 0.3, False),
)
