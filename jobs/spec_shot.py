"""One shot with everything it inherits filled in."""

from typing import Annotated, Any, Literal

from pydantic import (
    BeforeValidator,
    Field,
    WithJsonSchema,
    field_validator,
)

from .locations import shown
from .quantities import Name, Number, Spec, Text, Whole, refusal
from .spec_camera import CameraSpec
from .spec_crew import CrewSpec
from .spec_framing import CueSpec, FrameNumber, FramingSpec, ShakeSpec
from .spec_rig import RigSpec
from .spec_subject import SubjectSpec

MAX_FRAMES = 2_000_000
"""Most samples of one shot: frames with handles and pre-roll, times sub-frames."""

_VIEWS = ("front", "three_quarter", "profile", "rear")
_WHOLE = {"type": "integer", "minimum": 0, "maximum": MAX_FRAMES}

FrameCount = Annotated[Whole, Field(ge=0, le=MAX_FRAMES)]


def _handles(value: Any) -> Any:
    """Turn one number of frames into the same at both ends."""
    if isinstance(value, int) and not isinstance(value, bool):
        if not 0 <= value <= MAX_FRAMES:
            message = f"must be 0 to {MAX_FRAMES} frames, got {shown(value)}"
            raise refusal(message)
        return (value, value)
    return value


def _shake(value: Any) -> Any:
    """Turn the name of a level into a table."""
    return {"level": value} if isinstance(value, str) else value


def _view(value: Any) -> Any:
    if isinstance(value, str) and value in _VIEWS:
        return value
    if isinstance(value, bool) or not isinstance(value, int | float):
        names = ", ".join(f'"{name}"' for name in _VIEWS)
        message = f"must be one of {names} or a number of degrees"
        raise refusal(message)
    if not 0 <= value <= 180:
        message = f"must be 0 (front) to 180 (rear) deg, got {shown(value)} deg"
        raise refusal(message)
    return float(value)


Handles = Annotated[
    tuple[FrameCount, FrameCount],
    BeforeValidator(_handles),
    WithJsonSchema(
        {
            "anyOf": [
                _WHOLE,
                {"type": "array", "items": _WHOLE, "minItems": 2, "maxItems": 2},
            ]
        }
    ),
]
View = Annotated[
    float | str,
    BeforeValidator(_view),
    WithJsonSchema(
        {
            "anyOf": [
                {"enum": list(_VIEWS)},
                {"type": "number", "minimum": 0, "maximum": 180},
            ]
        }
    ),
]
Shake = Annotated[
    ShakeSpec,
    BeforeValidator(_shake, json_schema_input_type=ShakeSpec | str),
]


class ShotSpec(Spec):
    """One shot as it is solved: its own fields over its scene's and the defaults."""

    name: Name
    scene: Name = "main"
    """Continuity in space is judged inside a scene."""
    cut: Literal["continuous", "elapsed"] = "continuous"
    """Whether time runs on from the shot before."""
    frames: tuple[FrameNumber, FrameNumber]
    """The cut, first and last frame, both inside."""
    handles: Handles = (0, 0)
    """Frames solved before and after the cut; one number for both ends."""
    preroll: FrameCount = 0
    """Frames read, and not written, before the first handle."""
    subjects: Annotated[tuple[SubjectSpec, ...], Field(min_length=1, max_length=1000)]
    camera: CameraSpec
    crew: CrewSpec = CrewSpec()
    framing: FramingSpec
    rig: RigSpec
    lens_mm: Annotated[Number, Field(gt=0, le=10_000)]
    """A focal length of the kit."""
    height: Annotated[Number, Field(ge=-1e9, le=1e9)] | None = None
    """Lens height in scene units in place of the rig's own."""
    side: Literal["left", "right"] | None = None
    """Side of the subject's travel, with view; absent: where the rig is."""
    view: View | None = None
    """Angle on the subject's travel that the dolly keeps: 0 front, 180 rear."""
    setup: Name | None = None
    """Label of the setup."""
    shake: Shake = ShakeSpec()
    roll_deg: Annotated[Number, Field(ge=-90, le=90)] = 0.0
    """Positive turns the camera counter-clockwise seen from behind it."""
    samples_per_frame: Annotated[Whole, Field(ge=1, le=64)] = 1
    cues: Annotated[tuple[CueSpec, ...], Field(max_length=10_000)] = ()
    purpose: Text = ""
    """Free text that travels to the review."""

    @field_validator("subjects", mode="before")
    @classmethod
    def _claims(cls, subjects: Any) -> Any:
        """Fill share and must_hold where they are left out."""
        if not isinstance(subjects, list | tuple):
            return subjects
        return [_claim(subject, first=k == 0) for k, subject in enumerate(subjects)]

    @property
    def n_frames(self) -> int:
        """Frames of the cut."""
        return self.frames[1] - self.frames[0] + 1

    @property
    def solved_frames(self) -> tuple[int, int]:
        """First and last frame with the handles."""
        return self.frames[0] - self.handles[0], self.frames[1] + self.handles[1]

    @property
    def read_from(self) -> int:
        """First frame whose subjects are read: handles and pre-roll before the cut."""
        return self.solved_frames[0] - self.preroll


def _claim(subject: Any, *, first: bool) -> Any:
    if not isinstance(subject, dict):
        return subject
    share = subject.get("share", 1.0 if first else 0.0)
    held = isinstance(share, int | float) and share > 0
    return {"share": share, "must_hold": held, **subject}
