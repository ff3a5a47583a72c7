"""Subjects read from below one folder only, for jobs from untrusted callers.

A name is refused by its text before the disk is touched; what a link leads to has to
lie below the folder too; and the file is opened step by step without following links,
so that nobody can put one in place between the check and the opening.
"""

import os
import re
import stat
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path, PurePosixPath

from ..errors import Fault
from ..job.action import CUT_SUFFIX
from ..job.locations import shown
from .faults import refuse, refuse_any
from .read import track_of_source
from .reference import SubjectReference
from .request import SubjectRequest
from .source import KINDS, Source, digest_of, kind_of_file, source_of_samples
from .track import SubjectTrack

_SCHEME = re.compile(r"[A-Za-z][A-Za-z0-9+.-]*:")
_FOLDER = os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW | os.O_CLOEXEC
_SUFFIXES = (*KINDS, CUT_SUFFIX)
_SUFFIX_RULE = f"must end in one of {', '.join(_SUFFIXES)}"
# A pipe is opened without waiting for its writer, and then refused.
_FILE = os.O_RDONLY | os.O_NONBLOCK | os.O_NOFOLLOW | os.O_CLOEXEC


@dataclass(frozen=True, kw_only=True, slots=True)
class ConfinedReader:
    """Reads subjects as `read_subject` does, from below one folder.

    Attributes:
        root: the folder; None: only samples in the job itself are read.
        max_bytes: most bytes of a file, and most that it may unpack to.
        max_rows: most samples of a subject.
    """

    root: Path | None
    max_bytes: int
    max_rows: int

    def __call__(
        self, reference: SubjectReference, request: SubjectRequest
    ) -> SubjectTrack:
        """Read a subject; `request.folder` is not used.

        Raises:
            SubjectError: the name leads elsewhere, or as `read_subject`.
        """
        return track_of_source(
            self.source(reference, path=request.path), reference, request
        )

    def source(self, reference: SubjectReference, *, path: str) -> Source:
        """Return a subject's bytes.

        Raises:
            SubjectError: the file is not one that may be read, or is too large.
        """
        if reference.file is None:
            source = source_of_samples(reference.samples, path=path)
            return self._bounded(source)
        data = self.file_bytes(reference.file, folder=Path(), path=path)
        source = Source(
            data=data,
            kind=kind_of_file(reference.file, path=path),
            label=f"'{reference.file}'",
            path=f"{path}.file",
            digest=digest_of(data),
        )
        return self._bounded(source)

    def file_bytes(self, file: str, *, folder: Path, path: str) -> bytes:
        """Return the bytes of a file of the job; `folder` is not used.

        Raises:
            SubjectError: the file is not one that may be read, or is too large.
        """
        del folder
        field, label = f"{path}.file", f"'{file}'"
        refuse_any(faults_of_name(self.root, file, path=path))
        assert self.root is not None
        try:
            data = _bytes_below(self.root, file, limit=self.max_bytes + 1)
        except (OSError, RuntimeError):  # the latter: links that lead in a circle
            refuse(field, f"{label} is not a file that may be read")
        if len(data) > self.max_bytes:
            refuse(field, f"{label} is larger than {self.max_bytes / 2**20:.0f} MB")
        if not data.strip():
            refuse(field, f"{label} is empty")
        return data

    def _bounded(self, source: Source) -> Source:
        return replace(source, max_bytes=self.max_bytes, max_rows=self.max_rows)


def faults_of_name(root: Path | None, file: str, *, path: str) -> Iterator[Fault]:
    """Yield what is wrong with a name, without a look at the disk.

    Args:
        root: the folder that files are read from; None: none are.
        file: the name as the job has it.
        path: the subject's entry, `shots[2].subjects[0]`.
    """
    rules = (
        (root is None, "names a file; only samples in the job are read here"),
        (_SCHEME.match(file), "must be the name of a file, got an address"),
        (not file.isprintable() or "\\" in file, 'must be printable, "/" in it'),
        (file.startswith(("/", "~")), "must be relative to the project's folder"),
        (".." in PurePosixPath(file).parts, 'must not go up by ".."'),
        (PurePosixPath(file).suffix.lower() not in _SUFFIXES, _SUFFIX_RULE),
    )
    broken = next((rule for breaks, rule in rules if breaks), None)
    if broken is not None:
        yield Fault(path=f"{path}.file", message=f"{shown(file)} {broken}")


def _bytes_below(root: Path, file: str, *, limit: int) -> bytes:
    """Return the first bytes of a plain file below a folder.

    Raises:
        OSError: there is none, or a link leads out of the folder.
    """
    top = root.resolve(strict=True)
    place = (top / file).resolve(strict=True)
    if not place.is_relative_to(top) or place == top:
        raise FileNotFoundError
    *folders, name = place.relative_to(top).parts
    at = os.open(top, _FOLDER)
    try:
        for part in folders:
            inner = os.open(part, _FOLDER, dir_fd=at)
            os.close(at)
            at = inner
        descriptor = os.open(name, _FILE, dir_fd=at)
    finally:
        os.close(at)
    with open(descriptor, "rb") as stream:  # noqa: PTH123 - a descriptor, no path
        if not stat.S_ISREG(os.fstat(descriptor).st_mode):
            raise FileNotFoundError
        return stream.read(limit)
