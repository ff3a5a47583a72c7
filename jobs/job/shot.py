"""One shot with everything it inherits filled in."""

from typing import Annotated, Any, Literal, Self, get_args

from pydantic import (
    BeforeValidator,
    Field,
    WithJsonSchema,
    field_validator,
    model_validator,
)

from .camera import CameraSpec, LensSpec
from .carry import AcceptSpec, KeepSetup, KeepSetupSpec
from .claim import ClaimEntry
from .crew import CrewSpec
from .framing import CueSpec, FrameNumber, FramingSpec, Shake, ShakeSpec
from .locations import shown
from .quantities import (
    CHOOSE,
    Choose,
    Digest,
    Name,
    Number,
    Spec,
    Text,
    Whole,
    number_or_choose,
    refusal,
)
from .rig_choice import ChooseRig, FixedRig, RigSpec
from .setup import SETUP_FIELDS, NamedView, SetupSpec
from .stage import StageSpec
from .subject import SubjectSpec

MAX_FRAMES = 2_000_000
"""Most samples of one shot: frames with handles and pre-roll, times sub-frames."""

_CHOSEN_WITH_RIG = ("height", "side", "view")
_VIEWS = get_args(NamedView)
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


def _intents(value: Any) -> Any:
    """Turn one name into a list of one."""
    return (value,) if isinstance(value, str) else value


def _view(value: Any) -> Any:
    if isinstance(value, str) and value in (*_VIEWS, CHOOSE):
        return value
    if isinstance(value, bool) or not isinstance(value, int | float):
        names = ", ".join(f'"{name}"' for name in (*_VIEWS, CHOOSE))
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
Intents = Annotated[
    tuple[Name, ...],
    Field(max_length=20),
    BeforeValidator(_intents, json_schema_input_type=tuple[Name, ...] | Name),
]
View = Annotated[
    float | str,
    BeforeValidator(_view),
    WithJsonSchema(
        {
            "anyOf": [
                {"enum": [*_VIEWS, CHOOSE]},
                {"type": "number", "minimum": 0, "maximum": 180},
            ]
        }
    ),
]
LensChoice = Annotated[
    float | Choose,
    BeforeValidator(number_or_choose("mm", least=0, most=10_000, least_fits=False)),
    WithJsonSchema(
        {
            "anyOf": [
                {"const": CHOOSE},
                {"type": "number", "exclusiveMinimum": 0, "maximum": 10_000},
            ]
        }
    ),
]
HeightChoice = Annotated[
    float | Choose,
    BeforeValidator(number_or_choose("scene units", least=-1e9, most=1e9)),
    WithJsonSchema(
        {
            "anyOf": [
                {"const": CHOOSE},
                {"type": "number", "minimum": -1e9, "maximum": 1e9},
            ]
        }
    ),
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
    lens_mm: LensChoice
    """A focal length of the kit, or "choose"."""
    height: HeightChoice | None = None
    """Lens height in scene units in place of the rig's own, or "choose". Absent: the
    rig's own, or chosen with the rig."""
    side: Literal["left", "right", "choose"] | None = None
    """Side of the subject's travel. Absent: where the rig is, or chosen with the
    rig. On a fixed rig that does not hold the view, "choose" leaves nothing open."""
    view: View | None = None
    """Angle on the subject's travel: 0 front, 180 rear. Absent: chosen with the rig.
    On a fixed rig that does not hold the view, "choose" leaves nothing open."""
    stage: StageSpec = StageSpec()
    """Where the camera may stand."""
    sight: Literal["count", "forbid"] = "count"
    """Frames in which the set or a person hides who is followed are counted, or no
    setup may have any."""
    setup: Name | None = None
    """Label: shots of a scene with the same one share rig, lens and height."""
    keep_setup: KeepSetup = KeepSetupSpec()
    """Whether an earlier setup stays unless clearly beaten."""
    lock: Digest | None = None
    """Key of a take that is kept to the byte, and audited instead of solved."""
    take: Annotated[Whole, Field(ge=1, le=999)] | None = None
    """Number of the take that is used. Absent: the first, or the best of `takes`."""
    takes: Annotated[Whole, Field(ge=1, le=12)] = 1
    """How many takes are made, side by side in the review."""
    accept: Annotated[tuple[AcceptSpec, ...], Field(max_length=1000)] = ()
    """Findings that are let stand."""
    shake: Shake = ShakeSpec()
    roll_deg: Annotated[Number, Field(ge=-90, le=90)] = 0.0
    """Positive turns the camera counter-clockwise seen from behind it."""
    samples_per_frame: Annotated[Whole, Field(ge=1, le=64)] = 1
    cues: Annotated[tuple[CueSpec, ...], Field(max_length=10_000)] = ()
    purpose: Text = ""
    """Free text that travels to the review."""
    intent: Intents = ()
    """Names of bundles in `intents`, the later one over the earlier; none is left in a
    checked shot, which has what they say."""
    claims: Annotated[tuple[ClaimEntry, ...], Field(max_length=100)] = ()
    """What the picture must tell."""

    @model_validator(mode="before")
    @classmethod
    def _openings(cls, fields: Any) -> Any:
        """Open what a rig to choose leaves out, close what a fixed one decides."""
        if not isinstance(fields, dict):
            return fields
        rig = fields.get("rig")
        if isinstance(rig, ChooseRig) or (
            isinstance(rig, dict) and rig.get("kind") == CHOOSE
        ):
            left_out = [k for k in _CHOSEN_WITH_RIG if fields.get(k) is None]
            return {**fields, **dict.fromkeys(left_out, CHOOSE)}
        hold = rig.get("hold") if isinstance(rig, dict) else getattr(rig, "hold", None)
        if hold == "view":
            return fields
        return {
            name: None if name in ("side", "view") and value == CHOOSE else value
            for name, value in fields.items()
        }

    @field_validator("subjects", mode="before")
    @classmethod
    def _shares(cls, subjects: Any) -> Any:
        """Fill share and must_hold where they are left out."""
        if not isinstance(subjects, list | tuple):
            return subjects
        present = [_is_present(subject) for subject in subjects]
        first = present.index(False) if False in present else 0
        return [_shared(one, first=k == first) for k, one in enumerate(subjects)]

    @property
    def open_fields(self) -> frozenset[str]:
        """Fields of the setup that are left to choose, none where it is fixed."""
        chosen = {name for name in SETUP_FIELDS if getattr(self, name) == CHOOSE}
        if self.rig.kind == CHOOSE:
            chosen.add("rig")
        if self.framing.open_sizes:
            chosen.add("size")
        return frozenset(chosen)

    @property
    def is_open(self) -> bool:
        """Whether any part of the setup is left to choose."""
        return bool(self.open_fields)

    @property
    def lenses(self) -> tuple[LensSpec, ...]:
        """Lenses that may be used, shortest first: those that open to the stop."""
        if self.lens_mm != CHOOSE:
            return (self.camera.lens(self.fixed_lens_mm),)
        return self.usable_lenses

    @property
    def usable_lenses(self) -> tuple[LensSpec, ...]:
        """Lenses of the kit that open to the stop, shortest first."""
        kit, listed = self.camera.kit, self.camera.lenses is not None
        return tuple(
            lens for lens in kit if not listed or lens.widest_stop <= self.camera.stop
        )

    @property
    def fixed_rig(self) -> FixedRig:
        """The rig of a shot that does not leave it open."""
        assert not isinstance(self.rig, ChooseRig)
        return self.rig

    @property
    def fixed_lens_mm(self) -> float:
        """The lens of a shot that does not leave it open [mm]."""
        assert not isinstance(self.lens_mm, str)
        return self.lens_mm

    @property
    def fixed_height(self) -> float | None:
        """The height of a shot that does not leave it open, scene units."""
        assert not isinstance(self.height, str)
        return self.height

    def asked_setup(self) -> dict[str, Any]:
        """Return the setup as the job asks for it, open or not, as it is written."""
        fields = set(SETUP_FIELDS)
        asked = self.model_dump(mode="json", by_alias=True, include=fields)
        return {**asked, "size": self.framing.size}

    def with_setup(self, setup: SetupSpec) -> Self:
        """Return the shot with a setup in the place of its own.

        Its size counts where the shot leaves the size to choose.
        """
        values = {name: getattr(setup, name) for name in SETUP_FIELDS}
        if self.framing.open_sizes and setup.size is not None:
            values["framing"] = self.framing.model_copy(update={"size": setup.size})
        return self.model_copy(update=values)

    @property
    def followed(self) -> str:
        """Name of who is followed first."""
        return max(self.subjects, key=lambda subject: subject.share).name

    @property
    def take_numbers(self) -> tuple[int, ...]:
        """Numbers of the takes that are made, ascending."""
        numbers = {self.take or 1, *range(1, self.takes + 1)}
        return tuple(sorted(numbers)) if self.takes > 1 else (self.take or 1,)

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


def _is_present(subject: Any) -> bool:
    present = subject.get("present") if isinstance(subject, dict) else None
    return present is True or getattr(subject, "present", False) is True


def _shared(subject: Any, *, first: bool) -> Any:
    if not isinstance(subject, dict):
        return subject
    share = subject.get("share", 1.0 if first else 0.0)
    held = isinstance(share, int | float) and share > 0
    return {"share": share, "must_hold": held, **subject}
