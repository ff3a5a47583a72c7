"""What is asked of a subject's file: where it is found, for which frames, how read."""

from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from .reference import Up


@dataclass(frozen=True, kw_only=True, slots=True)
class SubjectRequest:
    """What a shot asks for when one of its subjects is read.

    Attributes:
        folder: where the job file lies; relative names start there.
        rate: the job's frames a second.
        first_frame: first frame needed, handles and preroll included.
        last_frame: last frame needed, included.
        up: the axis of the scene that points up.
        metres_per_unit: scale of the scene; a BVH file and a scene have their own.
        path: the subject's entry in the job, `shots[2].subjects[0]`.
    """

    folder: Path
    rate: Fraction
    first_frame: int
    last_frame: int
    up: Up
    metres_per_unit: float
    path: str

    @property
    def frames_field(self) -> str:
        """The field of the job that says which frames are asked for."""
        return f"{self.path.partition('.subjects')[0]}.frames"
