"""An action: one stretch of blocking, the cameras that cover it, and its cut."""

from typing import Annotated, Any, Literal, Self

from pydantic import (
    BeforeValidator,
    Field,
    StringConstraints,
    field_validator,
    model_validator,
)

from .claim import ClaimSpec
from .framing import FrameNumber
from .habits import CutWeightsSpec, Weight
from .locations import shown
from .quantities import Name, Number, Spec, Text, Truth, refusal

MAX_CAMERAS = 8
"""Most cameras of an action: every way to divide them into runs is looked at."""

NO_CUT = "none"
CUT_SUFFIX = ".otio"
"""How the name of a cut made elsewhere ends."""
TOLD_BY_FRAME = ("together", "alone", "looms", "small")
"""Verbs of claims that one frame tells or does not; the others need a whole shot."""

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
    tells: ClaimSpec | None = None
    """What the picture has to tell at each of the frames, as a claim of a shot:
    together, alone, looms or small, with names."""

    @model_validator(mode="before")
    @classmethod
    def _one_name(cls, fields: Any) -> Any:
        """Turn one name of who has to be on into a list of one."""
        if isinstance(fields, dict) and isinstance(fields.get("on"), str):
            return {**fields, "on": (fields["on"],)}
        return fields

    @model_validator(mode="after")
    def _one_thing(self) -> Self:
        asked = (self.on, self.alone, self.camera, self.tells)
        if sum(one is not None for one in asked) != 1:
            message = "needs one of on, alone, camera and tells"
            raise refusal(message)
        return self

    @field_validator("tells")
    @classmethod
    def _by_frame(cls, claim: ClaimSpec | None) -> ClaimSpec | None:
        """Refuse a claim that one frame can't tell, or that names nobody."""
        if claim is None:
            return None
        if claim.verb not in TOLD_BY_FRAME:
            listed = ", ".join(TOLD_BY_FRAME)
            message = f"{claim.verb} needs a whole shot; a beat takes {listed}"
            raise refusal(message)
        if not claim.named:
            message = f"{claim.verb} needs names in a beat"
            raise refusal(message)
        for name in ("frames", "share"):
            if getattr(claim, name) is not None:
                message = f"{name} has no place in a beat, which is told at every frame"
                raise refusal(message)
        return claim


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

    file: Annotated[Text, Field(min_length=1)] | None = None
    """A cut made elsewhere, .otio beside the job file: it is judged, none is made."""
    improve: Annotated[tuple[Frames, ...], Field(max_length=1000)] = ()
    """Stretches of frames, first and last inside, in which that is cut anew."""
    median_s: Seconds = 2.63
    """Length that is liked best. Counted: 96,697 shots of the validation list of the
    MovieCuts data set have this median, and a spread of 0.69."""
    spread: Annotated[Number, Field(gt=0, le=5)] = 0.69
    """Standard deviation of the natural logarithm of the lengths."""
    shortest_s: Seconds = 1.0
    """No picture is held for less."""
    longest_s: Seconds = 20.0
    """No picture is held for more."""
    varied: Annotated[Number, Field(ge=0, le=0.99)] = 0.9
    """Share of the spread that is drawn beforehand, by the seed of the job: 0 likes
    the median everywhere. A cut made elsewhere is judged without."""
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

    @field_validator("file")
    @classmethod
    def _timeline(cls, file: str | None) -> str | None:
        """Refuse the name of what is no timeline."""
        if file is not None and (not file.endswith(CUT_SUFFIX) or "\0" in file):
            message = f"must end in {CUT_SUFFIX}, got {shown(file)}"
            raise refusal(message)
        return file

    @model_validator(mode="after")
    def _improves_a_file(self) -> Self:
        if self.improve and self.file is None:
            message = "improve needs file: the cut that is improved"
            raise refusal(message)
        return self

    @model_validator(mode="after")
    def _rising(self) -> Self:
        if self.shortest_s > self.longest_s:
            low, high = self.shortest_s, self.longest_s
            message = f"shortest_s exceeds longest_s: {low:g} and {high:g} s"
            raise refusal(message)
        return self


def _cut(value: Any) -> Any:
    """Read the name of a file; refuse what is neither a table nor "none"."""
    if value is None or value == NO_CUT:
        return None
    if isinstance(value, dict | CutSpec):
        return value
    if isinstance(value, str) and value.endswith(CUT_SUFFIX):
        return {"file": value}
    message = f'must be a table, the name of an {CUT_SUFFIX} file or "{NO_CUT}", got '
    message += shown(value)
    raise refusal(message)


CutFile = Annotated[str, StringConstraints(pattern=r"\.otio$")]
Cut = Annotated[
    CutSpec | None,
    BeforeValidator(_cut, json_schema_input_type=CutSpec | Literal["none"] | CutFile),
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
