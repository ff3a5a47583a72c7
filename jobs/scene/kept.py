"""The sets of a run on this machine: baked once, and read from there by every shot."""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from ..job.spec import JobFile
from ..job.stage import SetSpec
from ..places.atomic import write_whole
from ..places.place import Place
from ..subjects import SubjectReference, SubjectTrack, read_subject
from ..subjects.request import SubjectRequest
from .baked import BAKED_SUFFIX, BakedSet, read_baked
from .faults import SetError
from .read import baked_bytes, forget_scenes, label_of, read_set


@dataclass(frozen=True, kw_only=True, slots=True)
class LocalReader:
    """Reads subjects as `read_subject`, and sets from where a run has baked them.

    Attributes:
        baked: place of the baked file of each set that a run could bake.
    """

    baked: Mapping[SetSpec, Place] = field(default_factory=dict)

    def __call__(
        self, reference: SubjectReference, request: SubjectRequest
    ) -> SubjectTrack:
        """Read a subject; see `read_subject`."""
        return read_subject(reference, request)

    def read_set(self, asked: SetSpec, folder: Path, path: str) -> BakedSet:
        """Read a set; see the function `read_set`."""
        place = self.baked.get(asked)
        if place is None:
            return read_set(asked, folder, path)
        return read_baked(place.read_bytes(), f"{path}.file", label_of(asked))


def with_sets_baked(
    job: JobFile, shots: Sequence[int], folder: Path, kept: Place
) -> LocalReader | None:
    """Bake the sets of a job once, and return what reads them; None without a set.

    A set that cannot be baked is left to its shots, which fail with what is wrong.

    Args:
        job: the checked job.
        shots: places of the shots that are solved.
        folder: where the job file lies.
        kept: folder for baked files, which are named by what they hold.

    Raises:
        OSError: a baked file could not be written.
    """
    forget_scenes()
    asked = {job.shots[k].stage.set: k for k in reversed(shots)}
    places: dict[SetSpec, Place] = {}
    for one, k in asked.items():
        if one is None:
            continue
        try:
            data = baked_bytes(one, folder, f"shots[{k}].stage.set")
        except SetError:
            continue
        if one.suffix != BAKED_SUFFIX:
            name = hashlib.sha256(data).hexdigest()[:32]
            place = kept / f"{name}{BAKED_SUFFIX}"
            if not place.is_file():
                write_whole(place, data)
            places[one] = place
    return LocalReader(baked=places) if any(asked) else None
