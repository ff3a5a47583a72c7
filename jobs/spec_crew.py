"""The `crew` table: a preset, and any of its numbers replaced."""

from typing import Annotated, Literal

from pydantic import Field

from .quantities import Number, Spec

Positive = Annotated[Number, Field(gt=0, le=1e9)]


class ChannelSpec(Spec):
    """One member of the crew; a number left out is the preset's.

    Speeds and their derivatives are deg/s for the operator, m/s for the grip and
    1/m/s (dioptres a second) for the focus puller.
    """

    reaction_s: Annotated[Number, Field(ge=0, le=5)] | None = None
    """Nothing younger than this is seen."""
    rest_s: Annotated[Number, Field(ge=0, le=10)] | None = None
    """Least time between two decisions."""
    tolerance: Positive | None = None
    """Miss that is left alone: half frames (operator), m (grip), 1/m (puller)."""
    max_speed: Positive | None = None
    max_accel: Positive | None = None
    max_jerk: Positive | None = None
    bandwidth_rad_s: Annotated[Number, Field(gt=0, le=1000)] | None = None
    """How fast belief follows what is seen."""
    fade_s: Annotated[Number, Field(gt=0, le=1000)] | None = None
    """Time constant with which a believed velocity is given up."""
    stiffness_rad_s: Annotated[Number, Field(gt=0, le=1000)] | None = None
    """How hard a plan closes a miss; higher is quicker and less smooth."""
    velocity_weight_s2: Annotated[Number, Field(ge=0, le=1000)] | None = None
    """What matching velocity is worth against matching position."""


class PullerSpec(ChannelSpec):
    """The focus puller."""

    method: Literal["marks", "eye"] = "marks"
    """marks: rehearsed and rate-limited; eye: reacts like the others."""


class CrewSpec(Spec):
    """Who works the camera."""

    preset: Literal["steady", "brisk", "sharp", "heavy_head"] = "steady"
    operator: ChannelSpec = ChannelSpec()
    grip: ChannelSpec = ChannelSpec()
    puller: PullerSpec = PullerSpec()
