"""The crew: who holds the camera, how late they see, how hard and how far they move.

A `Member` is one channel's person: grip (the dolly, metres), operator (pan and tilt,
radians), focus puller (dioptres). Limits of a real kit differ; every number is a job
setting. The dolly's and the head's figures are common practice, no source.
"""

from dataclasses import dataclass, field, replace
from math import radians
from typing import Literal

from .errors import SolverError


@dataclass(frozen=True, kw_only=True, slots=True)
class Member:
    """One member of the crew.

    Attributes:
        reaction_s: age of the youngest sample that is seen [s], >= 0.
        rest_s: least time between decisions [s]; raising it gives fewer, larger moves.
        tolerance: miss that is let go: half frames (operator), metres (grip), or half
            depths of field (puller).
        max_speed: units/s; max_accel: units/s^2; max_jerk: units/s^3. A whip goes 2.5
            times as far.
        bandwidth_rad_s: of the belief; higher trusts new samples more.
        fade_s: least time constant with which a believed velocity fades: of one who
            turns. One who has moved evenly is believed to go on.
        gait: step bounce expected in the motion [1/s]; higher keeps more of it out.
        height_share: bandwidth of the belief about heights, as a share of the ground's.
        bounce_share: likewise of one who bounces: what people do vertically is mostly
            their gait, and nobody follows that.
        height_fade_s: least fade of a believed vertical speed: what goes up comes down.
        height_gait: step bounce expected in the heights of one who bounces [1/s]; 0 for
            a member to whom it makes no difference.
        stiffness_rad_s: of the plan; higher follows harder.
        speed_weight_s2: weight of the speed error in the plan.
        urgency: miss, as a share of the room to the safe area's edge, above which
            tolerance and rest are halved; 1 and more switches it off.
    """

    reaction_s: float
    rest_s: float
    tolerance: float
    max_speed: float
    max_accel: float
    max_jerk: float
    bandwidth_rad_s: float
    fade_s: float
    gait: float
    stiffness_rad_s: float
    speed_weight_s2: float
    urgency: float = 0.4
    height_share: float = 0.4
    bounce_share: float = 0.08
    height_fade_s: float = 0.6
    height_gait: float = 200.0

    def __post_init__(self) -> None:
        """Refuse numbers with which no plan can be made."""
        for name in ("max_speed", "max_accel", "max_jerk", "bandwidth_rad_s"):
            if not getattr(self, name) > 0:
                message = f"{name}: must be > 0, got {getattr(self, name)}"
                raise SolverError(message)


@dataclass(frozen=True, kw_only=True, slots=True)
class Crew:
    """Grip, operator and focus puller of a shot.

    `variability` is how much they differ from take to take, 0 for not at all, 1 for as
    much as people do; see `crew.variability`.
    """

    operator: Member
    grip: Member
    puller: Member
    focus_method: Literal["marks", "eye"] = "marks"
    variability: float = 0.0
    preset: str = field(default="brisk", compare=False)


GRIP = Member(
    reaction_s=0.25,
    rest_s=0.4,
    tolerance=0.2,
    max_speed=1.5,
    max_accel=1.0,
    max_jerk=2.5,
    bandwidth_rad_s=6.0,
    fade_s=0.6,
    gait=0.1,
    stiffness_rad_s=3.5,
    speed_weight_s2=0.07,
    height_gait=0.0,
)

PULLER = Member(
    reaction_s=0.25,
    rest_s=0.25,
    tolerance=0.3,
    max_speed=0.6,
    max_accel=2.0,
    max_jerk=12.0,
    bandwidth_rad_s=8.0,
    fade_s=1.0,
    gait=0.1,
    stiffness_rad_s=6.0,
    speed_weight_s2=0.01,
    height_gait=0.0,
)

_BRISK = Member(
    reaction_s=0.16,
    rest_s=0.25,
    tolerance=0.1,
    max_speed=radians(90),
    max_accel=radians(300),
    max_jerk=radians(3000),
    bandwidth_rad_s=14.0,
    fade_s=0.6,
    gait=1.0,
    stiffness_rad_s=6.5,
    speed_weight_s2=0.02,
)
_SHARP = replace(
    _BRISK,
    reaction_s=0.125,
    rest_s=0.2,
    tolerance=0.04,
    max_speed=radians(120),
    max_accel=radians(360),
    max_jerk=radians(3000),
    bandwidth_rad_s=16.0,
    stiffness_rad_s=9.0,
    speed_weight_s2=0.009,
    height_share=0.3,
    bounce_share=0.06,
    height_gait=400.0,
)
_STEADY = replace(
    _BRISK,
    reaction_s=0.2,
    rest_s=0.3,
    tolerance=0.12,
    max_speed=radians(60),
    max_accel=radians(180),
    max_jerk=radians(1600),
    bandwidth_rad_s=10.0,
    stiffness_rad_s=5.5,
    speed_weight_s2=0.03,
)
_HEAVY = replace(
    _BRISK,
    reaction_s=0.25,
    rest_s=0.35,
    tolerance=0.14,
    max_speed=radians(45),
    max_accel=radians(70),
    max_jerk=radians(400),
    bandwidth_rad_s=8.0,
    stiffness_rad_s=6.0,
    speed_weight_s2=0.02,
)


def _preset(name: str, operator: Member, grip: Member) -> Crew:
    return Crew(operator=operator, grip=grip, puller=PULLER, preset=name)


PRESETS: dict[str, Crew] = {
    crew.preset: crew
    for crew in (
        _preset("steady", _STEADY, replace(GRIP, rest_s=0.5, tolerance=0.25)),
        _preset("brisk", _BRISK, GRIP),
        _preset(
            "sharp",
            _SHARP,
            replace(GRIP, reaction_s=0.2, rest_s=0.3, tolerance=0.15),
        ),
        _preset(
            "heavy_head",
            _HEAVY,
            replace(GRIP, rest_s=0.5, tolerance=0.3, max_accel=0.9),
        ),
    )
}
