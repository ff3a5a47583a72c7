"""The tables of a job as types, so that an editor completes a job written in Python.

A value of these types is a plain dict, the same that a job file holds: nothing is
converted. What a field means, its unit and its range, is said in the job's schema
(`carrellata schema`) and in `jobs/README.md`.
"""

from typing import Any, Literal, NotRequired, TypedDict

Size = Literal["full", "knee", "cowboy", "medium", "chest", "close", "eyes"]
Length = float | str
"""A number, or feet and inches: "12ft 6in"."""
Place = tuple[Length, Length, Length] | list[float] | list[Length]
Pair = tuple[float, float] | list[float]
FramePair = tuple[int, int] | list[int]
Columns = Any
"""A table of samples: an Arrow table, a data frame, or columns by name, each a list or
a one-dimensional array; see `carrellata.samples`."""


class WorldTable(TypedDict):
    """Axes and units of the scene."""

    up: Literal["y", "z"]
    metres_per_unit: float


class LensTable(TypedDict):
    """A prime lens of the kit."""

    mm: float
    close_focus_m: NotRequired[Length]
    widest_stop: NotRequired[float]


class CameraTable(TypedDict, total=False):
    """Film back, delivery, exposure and lens kit."""

    film_back: str
    width_mm: float
    height_mm: float
    aspect: float
    extraction: Literal["centre", "common_top"]
    squeeze: float
    overscan: float
    shutter_deg: float
    stop: float
    coc_mm: float
    lens_kit_mm: list[float]
    lenses: list[LensTable]


class ColumnsTable(TypedDict, total=False):
    """What the columns of a subject's file are called."""

    frame: str
    time_s: str
    x: str
    y: str
    z: str
    head_x: str
    head_y: str
    head_z: str
    facing_deg: str
    visible: str


class SubjectTable(TypedDict):
    """One subject: its motion and its claim on the frame."""

    name: str
    at: Literal["floor", "hips", "eyes", "head_top"]
    height_m: Length
    file: NotRequired[str]
    samples: NotRequired[Columns]
    share: NotRequired[float]
    must_hold: NotRequired[bool]
    present: NotRequired[bool]
    rate: NotRequired[str]
    first_sample_at: NotRequired[int]
    prim: NotRequired[str]
    joint: NotRequired[str]
    units: NotRequired[str | float]
    up: NotRequired[Literal["y", "z"]]
    limit_m_s: NotRequired[float]
    holds: NotRequired[Literal["auto", "keep"]]
    columns: NotRequired[ColumnsTable]


class FramingTable(TypedDict, total=False):
    """Where the followed subject stands in the frame, and how large."""

    size: Size | Literal["choose"] | list[Size]
    fill: float
    place: Pair
    headroom: float
    lead_room: float
    look_room: float
    angle: Literal["below", "level", "above"] | float


class CueTable(TypedDict):
    """A change the crew has rehearsed, started on its frame."""

    frame: int
    size: NotRequired[Size]
    fill: NotRequired[float]
    subject: NotRequired[str]
    how: NotRequired[Literal["move", "whip"]]


class ShakeTable(TypedDict, total=False):
    """The shake layer."""

    level: Literal["locked", "settled", "shoulder", "rough"]
    percent: float
    degrees: float
    band_hz: Pair


class SticksTable(TypedDict):
    """A head on sticks."""

    kind: Literal["sticks"]
    at: Place


TrackTable = TypedDict(
    "TrackTable",
    {
        "kind": Literal["track"],
        "from": Place,
        "to": Place,
        "hold": NotRequired[Literal["abreast", "size", "view"]],
        "beside": NotRequired[Place],
        "follow": NotRequired[float],
    },
)
"""A dolly on straight track."""


class ArcTable(TypedDict):
    """A dolly on a level arc of track."""

    kind: Literal["arc"]
    centre: Place
    radius: Length
    start_deg: float
    sweep_deg: float
    hold: NotRequired[Literal["abreast", "size", "view"]]
    beside: NotRequired[Place]
    follow: NotRequired[float]


class ChooseRigTable(TypedDict):
    """A rig that the solver lays."""

    kind: Literal["choose"]
    kinds: NotRequired[list[str]]
    hold: NotRequired[Literal["abreast", "size", "view"]]
    price: NotRequired[float]


class ChannelTable(TypedDict, total=False):
    """One member of the crew; a number left out is the preset's."""

    reaction_s: float
    rest_s: float
    tolerance: float
    max_speed: float
    max_accel: float
    max_jerk: float
    bandwidth_rad_s: float
    fade_s: float
    stiffness_rad_s: float
    velocity_weight_s2: float


class PullerTable(ChannelTable, total=False):
    """The focus puller."""

    method: Literal["marks", "eye"]


class CrewTable(TypedDict, total=False):
    """Grip, operator and focus puller."""

    preset: str
    variability: float
    operator: ChannelTable
    grip: ChannelTable
    puller: PullerTable


class AcceptTable(TypedDict):
    """A finding that somebody has accepted, and why."""

    finding: str
    reason: str
    by: str


class ShotTable(TypedDict):
    """One shot; what it leaves out comes from its scene, the defaults or the job."""

    name: str
    frames: FramePair
    subjects: NotRequired[list[SubjectTable]]
    framing: NotRequired[FramingTable]
    rig: NotRequired[SticksTable | TrackTable | ArcTable | ChooseRigTable]
    lens_mm: NotRequired[float | Literal["choose"]]
    height: NotRequired[Length]
    side: NotRequired[Literal["left", "right", "choose"]]
    view: NotRequired[str | float]
    scene: NotRequired[str]
    cut: NotRequired[Literal["continuous", "elapsed"]]
    handles: NotRequired[int | FramePair]
    preroll: NotRequired[int]
    camera: NotRequired[CameraTable]
    crew: NotRequired[CrewTable]
    stage: NotRequired[dict[str, Any]]
    setup: NotRequired[str]
    keep_setup: NotRequired[dict[str, Any] | bool]
    lock: NotRequired[str]
    accept: NotRequired[list[AcceptTable]]
    shake: NotRequired[str | ShakeTable]
    roll_deg: NotRequired[float]
    samples_per_frame: NotRequired[int]
    sight: NotRequired[Literal["count", "forbid"]]
    take: NotRequired[int]
    takes: NotRequired[int]
    cues: NotRequired[list[CueTable]]
    purpose: NotRequired[str]
    intent: NotRequired[str | list[str]]
    claims: NotRequired[list[Any]]


class JobTable(TypedDict):
    """A whole job; `schema` is "carrellata.job/1"."""

    schema: Literal["carrellata.job/1"]
    sequence: str
    rate: str
    world: WorldTable
    shots: list[ShotTable]
    model: NotRequired[Literal[1]]
    timecode: NotRequired[str]
    seed: NotRequired[int]
    habits: NotRequired[dict[str, Any]]
    camera: NotRequired[CameraTable]
    crew: NotRequired[CrewTable]
    stage: NotRequired[dict[str, Any]]
    defaults: NotRequired[dict[str, Any]]
    scenes: NotRequired[dict[str, dict[str, Any]]]
    intents: NotRequired[dict[str, dict[str, Any]] | str]
    actions: NotRequired[list[dict[str, Any]]]
    coverage: NotRequired[dict[str, dict[str, Any]]]
