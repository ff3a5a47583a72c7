"""What came of an action: the runs that its cameras take, and its cut.

    OUT/<sequence>/actions/<action>.json
    OUT/<sequence>/actions/<action>.otio       its cut, where it has one

It is made from the takes that lie there when rows are put into the sequence, and the
same takes give the same bytes. Frames are those of the job, costs are points.
"""

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

from ..errors import InputError
from ..places.object_errors import StoreError
from ..places.place import Place
from .continuity import CutEntry, PlainFinding
from .keys import canonical

ACTION_SCHEMA = "carrellata.action/1"
CUT, NO_CUT, CAMERAS_ONLY = "cut", "no_cut", "cameras"


@dataclass(frozen=True, kw_only=True, slots=True)
class CutPicture:
    """One picture of the cut of an action.

    Attributes:
        shot: name of the camera's take.
        camera: name of the camera.
        frames: first and last, both inside.
        parts: what it costs, by parts [points]; cut: what the cut into it costs.
        liked_s: length that is liked best where it lies.
        brings: what is new after the cut into it, by `News`.
        other_time: frame, camera and points that the best cut costs more that falls at
            another time; None where there is none. other_camera: likewise, to another
            camera.
        findings: what the picture and the cut into it are faulted for.
        kept: whether it stands as it was given, where the cut was.
    """

    shot: str
    camera: str
    frames: tuple[int, int]
    parts: Mapping[str, float] = field(default_factory=dict)
    liked_s: float = 0.0
    cut: Mapping[str, float] = field(default_factory=dict)
    brings: Sequence[Mapping[str, Any]] = ()
    other_time: Mapping[str, Any] | None = None
    other_camera: Mapping[str, Any] | None = None
    findings: Sequence[PlainFinding] = ()
    kept: bool = False

    @property
    def n_frames(self) -> int:
        """How many frames it is held for."""
        return self.frames[1] - self.frames[0] + 1


@dataclass(frozen=True, kw_only=True, slots=True)
class CoveredAction:
    """What came of one action.

    Attributes:
        action: its name.
        frames: first and last, both inside; rate: frames a second, as a job says it.
        cameras: takes by name of the camera, in the order of the job; those that have
            none are left out.
        takes: keys of the takes, by name of the camera.
        shown: frames of each camera that show each person's head, spans of first and
            last, by name of camera and person.
        status: `cut`, `no_cut` where none is allowed, or `cameras` where none is asked.
        pictures: of the cut, in its order.
        points: what the cut costs.
        given: name of the file of the cut, where it was given; best_points: what the
            best cut costs then, None where none is allowed.
        helps: what would give a cut where there is none, or what is wrong with the one
            that was given, a sentence each.
        runs: cameras that roll at once, where they are asked to; one run in all where
            all can.
        clashes: why two cameras do not roll at once: cameras, what, frame.
        findings: what cameras are faulted for in the action, by name of the take.
    """

    action: str
    frames: tuple[int, int]
    rate: str
    cameras: Mapping[str, str]
    takes: Mapping[str, str]
    shown: Mapping[str, Mapping[str, Sequence[Sequence[int]]]]
    status: str = CAMERAS_ONLY
    pictures: tuple[CutPicture, ...] = ()
    points: float = 0.0
    given: str = ""
    best_points: float | None = None
    helps: Sequence[str] = ()
    runs: Sequence[Sequence[str]] = ()
    clashes: Sequence[Mapping[str, Any]] = ()
    findings: Mapping[str, Sequence[PlainFinding]] = field(default_factory=dict)

    def json(self) -> bytes:
        """Return the action as it is written; equal ones give equal bytes."""
        cameras = [list(one) for one in self.cameras.items()]  # in their order
        said = {"schema": ACTION_SCHEMA, **asdict(self), "cameras": cameras}
        return canonical(said).encode()

    def findings_of(self, shot: str) -> list[PlainFinding]:
        """Return what a camera is faulted for, in the action and in its cut."""
        own = list(self.findings.get(shot, ()))
        return own + [
            one for each in self.pictures if each.shot == shot for one in each.findings
        ]


def action_place(folder: Place, action: str) -> Place:
    """Return where what came of an action lies, in the folder of its sequence."""
    return folder / "actions" / f"{action}.json"


def read_action(folder: Place, action: str) -> CoveredAction | None:
    """Return what came of an action; None where nothing did yet.

    Raises:
        InputError: its file is damaged.
        StoreError: an object store does not answer.
    """
    place = action_place(folder, action)
    try:
        raw = place.read_bytes()
    except StoreError:
        raise
    except OSError:
        return None
    try:
        values = json.loads(raw)
        if values.pop("schema") != ACTION_SCHEMA:
            raise InputError(str(place), f"is not of the form {ACTION_SCHEMA}")
        pictures = [
            CutPicture(**{**one, "frames": tuple(one["frames"])})
            for one in values.pop("pictures")
        ]
        frames, cameras = tuple(values.pop("frames")), dict(values.pop("cameras"))
        return CoveredAction(
            **values, cameras=cameras, frames=frames, pictures=tuple(pictures)
        )
    except (ValueError, KeyError, TypeError) as error:
        raise InputError(str(place), "is damaged") from error


def actions_of(folder: Place, entries: Iterable[CutEntry]) -> list[CoveredAction]:
    """Return what came of the actions of a sequence, in the order of its cameras.

    One that cannot be read counts as not there: the next solve makes it again.
    """
    found = []
    for name in dict.fromkeys(entry.action for entry in entries if entry.action):
        try:
            action = read_action(folder, name)
        except InputError:
            action = None
        if action is not None:
            found.append(action)
    return found


def findings_of_actions(
    folder: Place, entries: Sequence[CutEntry]
) -> dict[str, list[PlainFinding]]:
    """Return what cameras are faulted for in their actions, by name of the take."""
    found: dict[str, list[PlainFinding]] = {}
    for action in actions_of(folder, entries):
        for shot in action.cameras.values():
            found[shot] = action.findings_of(shot)
    return found
