"""Files that are there whole or not at all, whatever kills the writer.

On a disk, bytes go to a hidden temporary name in the same folder, are flushed, and take
the final name in one step. The writer holds a lock on its temporary file, so what a
killed writer left behind can be told from what a living one is still filling. An object
store does all that by itself.
"""

import fcntl
import os
import secrets
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from io import BytesIO
from pathlib import Path
from typing import BinaryIO, cast

from .objects import ObjectPath
from .place import Place, at_once

_SUFFIX = ".part"
_BUFFER = 2**18  # bytes; most files go to the system in one piece


def write_whole(place: Place, data: bytes | memoryview, *, flush: bool = True) -> None:
    """Give `place` these bytes in one step; its folder is made if need be.

    Args:
        place: the file.
        data: all of it.
        flush: whether it is flushed to the disk before it gets its name.

    Raises:
        OSError: nothing was changed and nothing is left behind; it names `place`.
    """
    if isinstance(place, ObjectPath):
        place.put(data)
        return
    with whole_file(place, flush=flush) as file:
        file.write(data)


def write_all(files: Mapping[Place, bytes], *, flush: bool = True) -> None:
    """Write several files, each whole; those of an object store several at a time.

    Raises:
        OSError: one could not be written; others may have been.
    """
    at_once(list(files), lambda place: write_whole(place, files[place], flush=flush))


@contextmanager
def whole_file(place: Place, *, flush: bool = True) -> Iterator[BinaryIO]:
    """Give a file to fill, which takes the name `place` in one step when it is full.

    Args:
        place: the file; its folder is made if need be.
        flush: whether it has to outlast a loss of power. What is made again where it
            is missing or damaged need not; a writer that is killed spoils neither.

    Raises:
        OSError: nothing was changed and nothing is left behind; it names `place`.
    """
    if isinstance(place, ObjectPath):
        held = BytesIO()
        yield held
        place.put(held.getbuffer())
        return
    path = cast(Path, place)
    is_named, temporary = False, path
    try:
        file, temporary = _begun(path)
        with file:
            yield file
            file.flush()
            if flush:
                os.fsync(file.fileno())
            temporary.replace(path)
            is_named = True
    except OSError as error:
        raise OSError(error.errno, error.strerror, str(path)) from error
    finally:
        if not is_named and temporary is not path:
            temporary.unlink(missing_ok=True)


def _begun(path: Path) -> tuple[BinaryIO, Path]:
    """Open a temporary file for a path, locked; return it with its name.

    One that was taken for a leftover before it was locked is begun anew.
    """
    while True:
        temporary = path.with_name(f".{path.name}.{secrets.token_hex(6)}{_SUFFIX}")
        file = _created(temporary)
        fcntl.flock(file, fcntl.LOCK_EX)
        if temporary.exists():
            return file, temporary
        file.close()


def _created(path: Path) -> BinaryIO:
    """Open a new file, in a folder that is made if need be."""
    try:
        return path.open("xb", buffering=_BUFFER)
    except FileNotFoundError:
        path.parent.mkdir(parents=True, exist_ok=True)
        return path.open("xb", buffering=_BUFFER)


def name_whole(place: Place, existing: Place) -> None:
    """Give a file that is there a second name in one step; copies it where it must.

    An object is copied by the store.

    Raises:
        OSError: nothing was changed and nothing is left behind; it names `place`.
    """
    if isinstance(place, ObjectPath):
        place.copy_from(cast(ObjectPath, existing))
        return
    path, there = cast(Path, place), cast(Path, existing)
    try:
        path.hardlink_to(there)
    except OSError:  # no folder yet, the name is taken, or there are no second names
        path.parent.mkdir(parents=True, exist_ok=True)
        _rename(path, there)


def _rename(path: Path, there: Path) -> None:
    """Put a second name, or a copy, in the place of what has the name."""
    temporary = path.with_name(f".{path.name}.{secrets.token_hex(6)}{_SUFFIX}")
    with there.open("rb") as file:
        fcntl.flock(file, fcntl.LOCK_SH)  # holds for both names
        try:
            temporary.hardlink_to(there)
        except OSError:  # a file system without second names
            write_whole(path, file.read())
            return
        try:
            temporary.replace(path)
        finally:
            temporary.unlink(missing_ok=True)


def remove_leftovers(folder: Place) -> None:
    """Remove the temporary files of killed writers below a folder."""
    if isinstance(folder, ObjectPath):
        return
    for path in cast(Path, folder).rglob(f".*{_SUFFIX}"):
        try:
            file = path.open("rb")
        except FileNotFoundError:
            continue
        with file:
            # A writer that had not locked it yet finds it gone, and begins anew.
            if _is_free(file.fileno()):
                path.unlink(missing_ok=True)


def _is_free(descriptor: int) -> bool:
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True
