"""Reads the set of a shot: a scene is baked first, a baked file is read as it is."""

from functools import lru_cache
from pathlib import Path
from typing import Protocol, runtime_checkable

from ..job.stage import SetSpec
from ..subjects import SubjectError, SubjectReader
from .baked import BAKED_SUFFIX, MAX_BYTES, BakedSet, ScenePart, bake, read_baked
from .faults import SetError, refuse_set
from .gltf_scene import gltf_parts
from .usd_scene import usd_parts

_GLTF = (".gltf", ".glb")


@runtime_checkable
class ReadsFiles(Protocol):
    """A reader of subjects that says which files may be read: no scene is opened."""

    def file_bytes(self, file: str, *, folder: Path, path: str) -> bytes:
        """Return the bytes of a file of a job, or raise a `SubjectError`."""


@runtime_checkable
class ReadsSets(Protocol):
    """A reader of subjects that knows where sets were baked to."""

    def read_set(self, asked: SetSpec, folder: Path, path: str) -> BakedSet:
        """Read as the function `read_set` does, and refuse as it does."""


def set_read(asked: SetSpec, folder: Path, path: str, read: SubjectReader) -> BakedSet:
    """Return the set of a shot as the reader of its subjects may read it.

    Raises:
        SetError: it cannot be used.
    """
    if isinstance(read, ReadsSets):
        return read.read_set(asked, folder, path)
    if not isinstance(read, ReadsFiles):
        return read_set(asked, folder, path)
    if asked.suffix != BAKED_SUFFIX:
        message = (
            f"{label_of(asked)} is a scene, which is not opened here; bake it by "
            '"carrellata bake-set" and name the file that it makes'
        )
        refuse_set(f"{path}.file", message)
    try:
        data = read.file_bytes(asked.file, folder=folder, path=path)
    except SubjectError as error:
        raise SetError(error.faults) from error
    return read_baked(data, f"{path}.file", label_of(asked))


def read_set(asked: SetSpec, folder: Path, path: str) -> BakedSet:
    """Return the set that a shot names, baked in memory where it is a scene.

    Args:
        asked: the set's table in the job.
        folder: where the job file lies.
        path: the table, `shots[2].stage.set`.

    Raises:
        SetError: it cannot be used.
    """
    return read_baked(baked_bytes(asked, folder, path), f"{path}.file", label_of(asked))


def baked_bytes(asked: SetSpec, folder: Path, path: str) -> bytes:
    """Return the baked file of a set.

    Raises:
        SetError: it cannot be used.
    """
    place = folder / asked.file
    if not place.is_file():
        refuse_set(f"{path}.file", f"{label_of(asked)} is not a file")
    if asked.suffix == BAKED_SUFFIX:
        return _bytes(place, f"{path}.file", label_of(asked))
    return _baked(asked, place, path, _stamp(place))


def _bytes(place: Path, path: str, label: str) -> bytes:
    try:
        fits = place.stat().st_size <= MAX_BYTES
        data = place.read_bytes() if fits else b""
    except OSError:
        refuse_set(path, f"{label} cannot be read")
    if not fits:
        refuse_set(path, f"{label} exceeds {MAX_BYTES // 2**20} MB")
    return data


@lru_cache(maxsize=4)
def _baked(asked: SetSpec, place: Path, path: str, stamp: tuple[int, int]) -> bytes:
    """Return a scene as it is baked; the last few are kept while nothing changes."""
    _, parts = _parts(asked, place, path)
    return bake(
        _marked(parts, asked, path),
        thin_m=asked.thin_m,
        path=f"{path}.file",
        label=label_of(asked),
    )


def forget_scenes() -> None:
    """Let every scene be read anew, as a layer below it may have changed."""
    _baked.cache_clear()


def _stamp(place: Path) -> tuple[int, int]:
    about = place.stat()
    return about.st_mtime_ns, about.st_size


def _parts(asked: SetSpec, place: Path, path: str) -> tuple[str, list[ScenePart]]:
    if asked.suffix in _GLTF:
        return gltf_parts(asked, place, path)
    return usd_parts(asked, place, path)


def _marked(parts: list[ScenePart], asked: SetSpec, path: str) -> list[ScenePart]:
    """Return parts under names that a person reads, wild where the job says so."""
    for k, name in enumerate(asked.wild):
        if not any(_below(part.name, name) for part in parts):
            message = f"{label_of(asked)} has no part '{name}' in its set"
            refuse_set(f"{path}.wild[{k}]", message)
    short = [part.name.rpartition("/")[2] for part in parts]
    return [
        part._replace(
            name=name if short.count(name) == 1 else part.name,
            wild=part.wild or any(_below(part.name, one) for one in asked.wild),
        )
        for part, name in zip(parts, short, strict=True)
    ]


def _below(name: str, over: str) -> bool:
    """Tell whether a part is what is named, or below it; a name may be the last one."""
    whole = name == over or name.startswith(over.rstrip("/") + "/")
    return whole or over in name.split("/")


def label_of(asked: SetSpec) -> str:
    """Return how a set is called in a fault."""
    return f"'{asked.file}'"
