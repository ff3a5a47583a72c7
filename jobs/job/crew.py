"""The `crew` table: a preset or a crew's own file, and any of its numbers replaced."""

from typing import Annotated, Any, Literal, Self

from pydantic import BeforeValidator, Field, WithJsonSchema, model_validator

from .framing import Shake
from .locations import shown
from .meanings import hint
from .quantities import Digest, Name, Number, Spec, refusal

Positive = Annotated[Number, Field(gt=0, le=1e9)]
PresetName = Literal["steady", "brisk", "sharp", "heavy_head"]

PRESET_NAMES = ("steady", "brisk", "sharp", "heavy_head")
CREW_SUFFIX = ".toml"


def _preset(value: Any) -> Any:
    """Take the name of a preset, or of a crew's file."""
    if isinstance(value, str):
        is_file = value.lower().endswith(CREW_SUFFIX) and len(value) <= 4096
        if value in PRESET_NAMES or (is_file and "\0" not in value):
            return value
    names = ", ".join(f'"{name}"' for name in PRESET_NAMES)
    message = (
        f'must be one of {names} or a crew\'s file ending in "{CREW_SUFFIX}", '
        f"got {shown(value)}{hint(value, PRESET_NAMES)}"
    )
    raise refusal(message)


Preset = Annotated[
    str,
    BeforeValidator(_preset),
    WithJsonSchema(
        {
            "anyOf": [
                {"enum": list(PRESET_NAMES)},
                {"type": "string", "pattern": r"\.[tT][oO][mM][lL]$"},
            ]
        }
    ),
]


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


class CrewFileSpec(Spec):
    """A crew of its own in a TOML file, which jobs name as their preset."""

    name: Name
    """What takes and reviews call it."""
    based_on: PresetName = "steady"
    """Preset that gives the numbers left out."""
    operator: ChannelSpec = ChannelSpec()
    grip: ChannelSpec = ChannelSpec()
    puller: PullerSpec = PullerSpec()
    shake: Shake | None = None
    """For shots that say nothing of shake."""


class CrewSpec(Spec):
    """The crew: grip, operator and focus puller, and their abilities."""

    preset: Preset = "brisk"
    """A preset, or a crew's TOML file beside or below the job file."""
    operator: ChannelSpec = ChannelSpec()
    grip: ChannelSpec = ChannelSpec()
    puller: PullerSpec = PullerSpec()
    variability: Annotated[Number, Field(ge=0, le=2)] = 1.0
    """How much one take differs from the next: 0 not at all, 1 as people do."""
    file: CrewFileSpec | None = None
    """What the crew's file holds, read once with the job and carried by it."""
    file_sha256: Digest | None = None
    """Of the bytes of that file."""

    @model_validator(mode="after")
    def _file_of_preset(self) -> Self:
        if self.file is not None and not self.is_from_file:
            message = f"is only for a preset from a file, got preset {self.preset}"
            raise refusal(message)
        if (self.file is None) != (self.file_sha256 is None):
            message = "needs both file and file_sha256, or none"
            raise refusal(message)
        return self

    @property
    def is_from_file(self) -> bool:
        """Whether the preset names a file."""
        return self.preset not in PRESET_NAMES

    @property
    def name(self) -> str:
        """What the crew is called."""
        return self.file.name if self.file is not None else self.preset

    @property
    def base(self) -> str:
        """The preset that gives the numbers left out."""
        return self.file.based_on if self.file is not None else self.preset
