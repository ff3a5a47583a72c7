"""Subjects' files of a job: below the roots, and as they were when submitted."""

import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePath

from ...jobs.errors import Fault
from ...jobs.job.spec import JobFile
from ...jobs.run.record import Record
from ...jobs.scene.baked import BAKED_SUFFIX
from ...jobs.subjects import SubjectError, SubjectReference, SubjectTrack, read_subject
from ...jobs.subjects.confined import ConfinedReader
from ...jobs.subjects.request import SubjectRequest
from .places import PlaceError, place_below

_SCENE_SUFFIXES = (".usd", ".usda", ".usdc", ".usdz")
_CHUNK = 1 << 20


def submission_faults(
    job: JobFile, shots: Sequence[int], folder: Path, roots: Sequence[Path]
) -> Iterator[Fault]:
    """Yield what keeps the farm from reading a job's subjects.

    A file that is missing is no fault here: its shot fails and the others are solved.
    """
    for k in shots:
        for n, subject in enumerate(job.shots[k].subjects):
            path = f"shots[{k}].subjects[{n}].file"
            if subject.file is None:
                continue
            if PurePath(subject.file).suffix.lower() in _SCENE_SUFFIXES:
                message = (
                    f"OpenUSD is not opened on the farm, got '{subject.file}'; bake "
                    "the subject to a table with frame, x, y, z (.parquet) first"
                )
                yield Fault(path=path, message=message)
                continue
            fault = place_fault(subject.file, folder, roots)
            if fault is not None:
                yield Fault(path=path, message=fault)
        yield from _set_faults(job, k, folder, roots)
    for path, file in given_cuts(job, shots):
        fault = place_fault(file, folder, roots)
        if fault is not None:
            yield Fault(path=f"{path}.file", message=fault)


def given_cuts(job: JobFile, shots: Sequence[int]) -> list[tuple[str, str]]:
    """Return the files of cuts given for actions of some shots, with their tables."""
    asked = {job.shots[k].name for k in shots}
    return [
        (f"actions[{k}].cut", action.cut.file)
        for k, action in enumerate(job.actions)
        if action.cut is not None
        and action.cut.file is not None
        and asked & set(map(action.shot_of, action.cameras))
    ]


def _set_faults(
    job: JobFile, shot: int, folder: Path, roots: Sequence[Path]
) -> Iterator[Fault]:
    """Yield what keeps the farm from reading the set of a shot."""
    file = job.shots[shot].stage.set_file
    if file is None:
        return
    path = f"shots[{shot}].stage.set.file"
    if PurePath(file).suffix.lower() != BAKED_SUFFIX:
        message = (
            f"scenes are not opened on the farm, got '{file}'; bake the set by "
            '"carrellata bake-set" first'
        )
        yield Fault(path=path, message=message)
        return
    fault = place_fault(file, folder, roots)
    if fault is not None:
        yield Fault(path=path, message=fault)


def place_fault(file: str, folder: Path, roots: Sequence[Path]) -> str | None:
    """Return why the farm may not read a file; None if it may."""
    try:
        place_below(roots, folder / file)
    except PlaceError as error:
        return f"'{file}' {error.fault.message}"
    return None


def digests_of(job: JobFile, shots: Sequence[int], folder: Path) -> dict[str, str]:
    """Return the SHA-256 of each file of a job, by its name: subjects, sets and cuts.

    A file that cannot be read has an empty one.
    """
    named = [one.file for k in shots for one in job.shots[k].subjects]
    named += [job.shots[k].stage.set_file for k in shots]
    named += [file for _, file in given_cuts(job, shots)]
    names = {file: folder / file for file in named if file is not None}
    return {name: _digest(path) for name, path in sorted(names.items())}


@dataclass(frozen=True, kw_only=True, slots=True)
class FarmReader:
    """Reads subjects as the farm may: below its roots, unchanged.

    Attributes:
        roots: folders below which files are read.
        inputs: digests by name in the job; a file without one may be anything.
        confined: reads the files of a batch that came over HTTP, from below the
            project's own folder and within the token's limits; None: any below the
            roots.
    """

    roots: tuple[Path, ...]
    inputs: Mapping[str, str]
    confined: ConfinedReader | None = None

    def __call__(
        self, reference: SubjectReference, request: SubjectRequest
    ) -> SubjectTrack:
        """Read a subject.

        Raises:
            SubjectError: it cannot be used, lies elsewhere, or has changed.
        """
        if self.confined is not None:
            return self._confined(reference, request)
        if reference.file is None:
            return read_subject(reference, request)
        folder, field = request.folder, f"{request.path}.file"
        fault = place_fault(reference.file, folder, self.roots)
        if fault is not None:
            raise SubjectError((Fault(path=field, message=fault),))
        expected = self.inputs.get(reference.file)
        try:
            track = read_subject(reference, request)
        except SubjectError:
            gone = not (folder / reference.file).is_file()
            if gone or expected in (None, _digest(folder / reference.file)):
                raise
            raise SubjectError((_changed(field, reference.file),)) from None
        # Of the very bytes that were read.
        if expected not in (None, track.digest):
            raise SubjectError((_changed(field, reference.file),))
        return track

    def file_bytes(self, file: str, *, folder: Path, path: str) -> bytes:
        """Return the bytes of a file of the job that is no subject's.

        Raises:
            SubjectError: it lies elsewhere, is not there, or has changed.
        """
        field = f"{path}.file"
        if self.confined is not None:
            data = self.confined.file_bytes(file, folder=folder, path=path)
        else:
            fault = place_fault(file, folder, self.roots)
            if fault is not None:
                raise SubjectError((Fault(path=field, message=fault),))
            try:
                data = (folder / file).read_bytes()
            except OSError as error:
                gone = Fault(path=field, message=f"'{file}' is not a file")
                raise SubjectError((gone,)) from error
        if self.inputs.get(file) not in (None, hashlib.sha256(data).hexdigest()):
            raise SubjectError((_changed(field, file),))
        return data

    def _confined(
        self, reference: SubjectReference, request: SubjectRequest
    ) -> SubjectTrack:
        assert self.confined is not None
        root = self.confined.root
        if reference.file is not None and root is not None:
            fault = place_fault(".", root, self.roots)
            if fault is not None:
                raise SubjectError((Fault(path=f"{request.path}.file", message=fault),))
        track = self.confined(reference, request)
        expected = None if reference.file is None else self.inputs.get(reference.file)
        if expected not in (None, track.digest):
            raise SubjectError((_changed(f"{request.path}.file", str(reference.file)),))
        return track


def reader_of(record: Record, roots: tuple[Path, ...]) -> FarmReader:
    """Return what reads the subjects of a batch."""
    confined = None if record.confines is None else record.confines.reader()
    return FarmReader(roots=roots, inputs=record.inputs, confined=confined)


def _changed(field: str, file: str) -> Fault:
    message = (
        f"input_changed: '{file}' is not what it was at submission; submit again, or "
        "with --follow"
    )
    return Fault(path=field, message=message)


def _digest(path: Path) -> str:
    digest = hashlib.sha256()
    try:
        with path.open("rb") as file:
            while chunk := file.read(_CHUNK):
                digest.update(chunk)
    except OSError:
        return ""
    return digest.hexdigest()
