"""Where the subjects go: reads their trajectories and checks them."""

from .faults import SubjectError
from .read import SubjectReader, read_subject
from .reference import SubjectReference
from .track import SubjectTrack

__all__ = [
    "SubjectError",
    "SubjectReader",
    "SubjectReference",
    "SubjectTrack",
    "read_subject",
]
