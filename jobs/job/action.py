"""An action: one stretch of blocking, the cameras that cover it, and its cut."""

from typing import Annotated, Any, Literal, Self

from pydantic import BeforeValidator, Field, model_validator

from .framing import FrameNumber
from .habits import CutWeightsSpec, Weight
from .locations import shown
from .quantities import Name, Number, Spec, Truth, refusal

MAX_CAMERAS = 8
"""Most cameras of an action: every way to divide them into runs is looked at."""

NO_CUT = "none"
Frames = tuple[FrameNumber, FrameNumber]
Seconds = Annotated[Number, Field(gt=0, le=3600)]


class BeatSpec(Spec):
    """Frames at which the cut has to show something."""

    frames: Frames
    """First and last, both inside."""
    on: Annotated[tuple[Name, ...], Field(min_length=1, max_length=1000)] | None = None
    """Whose heads are in the picture, whole and not hidden."""
    alone: Name | None = None
    """Whose head is in the picture, and nobody else's."""
    camera: Name | None = None
    """Which camera is on."""

    @model_validator(mode="before")
    @classmethod
    def _one_name(cls, fields: Any) -> Any:
        """Turn one name of who has to be on into a list of one."""
        if isinstance(fields, dict) and isinstance(fields.get("on"), str):
            return {**fields, "on": (fields["on"],)}
        return fields

    @model_validator(mode="after")
    def _one_thing(self) -> Self:
        given = [one for one in (self.on, self.alone, self.camera) if one is not None]
        if len(given) != 1:
            message = "needs one of on, alone and camera"
            raise refusal(message)
        return self


class SpeechSpec(Spec):
    """Frames in which somebody speaks."""

    who: Name
    frames: Frames
    """First and last, both inside."""


class PictureWeightsSpec(Spec):
    """What a second of a picture costs in points; left out: the solver's own."""

    nobody: Weight | None = None
    """It shows no head."""
    lost: Weight | None = None
    """It does not show the head of whom the camera follows."""
    speaker: Weight | None = None
    """It does not show the head of who speaks."""
    turned_away: Weight | None = None
    """Who is followed shows the back of the head; the side costs half."""
    small: Weight | None = None
    """Each halving of the figure under the frame height."""
    lengths: Weight | None = None
    """Not a second's: half the square of how many spreads a length is off the median
    costs so many points."""


class CutSpec(Spec):
    """How an action is cut."""

    median_s: Seconds = 2.63
    """Length that is liked best. Counted: 96,697 shots of the validation list of the
    MovieCuts data set have this median, and a spread of 0.69."""
    spread: Annotated[Number, Field(gt=0, le=5)] = 0.69
    """Standard deviation of the natural logarithm of the lengths."""
    shortest_s: Seconds = 1.0
    """No picture is held for less."""
    longest_s: Seconds = 20.0
    """No picture is held for more."""
    first: Name | None = None
    """Camera that the cut begins on."""
    last: Name | None = None
    """Camera that it ends on."""
    beats: Annotated[tuple[BeatSpec, ...], Field(max_length=1000)] = ()
    """What has to be shown, and when."""
    speaks: Annotated[tuple[SpeechSpec, ...], Field(max_length=10_000)] = ()
    """Who speaks when, where it is known."""
    weights: PictureWeightsSpec = PictureWeightsSpec()
    """What pictures and lengths cost."""
    cut_weights: CutWeightsSpec = CutWeightsSpec()
    """What a cut costs, over the habits of the sequence."""

    @model_validator(mode="after")
    def _rising(self) -> Self:
        if self.shortest_s > self.longest_s:
            low, high = self.shortest_s, self.longest_s
            message = f"shortest_s exceeds longest_s: {low:g} and {high:g} s"
            raise refusal(message)
        return self


def _cut(value: Any) -> Any:
    """Refuse what is neither a table nor "none"."""
    if value is None or value == NO_CUT:
        return None
    if isinstance(value, dict | CutSpec):
        return value
    if isinstance(value, str) and value.endswith(".otio"):
        message = f"{shown(value)}: a given cut is not available in this version"
        raise refusal(message)
    message = f'must be a table or "{NO_CUT}", got {shown(value)}'
    raise refusal(message)


Cut = Annotated[
    CutSpec | None,
    BeforeValidator(_cut, json_schema_input_type=CutSpec | Literal["none"]),
]
CameraNames = Annotated[
    tuple[Name, ...],
    Field(min_length=1, max_length=MAX_CAMERAS),
]


class ActionSpec(Spec):
    """A checked action; its cameras are shots of the job, each over all its frames."""

    name: Name
    frames: Frames
    """First and last, both inside."""
    cameras: CameraNames
    """Each a shot without scene, frames, cut and letter."""
    together: Truth = False
    """All cameras roll at once: none sees another, nor stands in its way."""
    cut: Cut = CutSpec()
    """How it is cut, or "none", kept as null, for the cameras only."""

    def shot_of(self, camera: str) -> str:
        """Return the name of the shot, and of the take, of one of the cameras."""
        return f"{self.name}_{camera}"
