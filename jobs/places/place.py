"""Where files lie: a folder of this machine, or a prefix of an object store.

A `Place` is one or the other. What both can do is few: read whole, write whole, give a
second name, list, remove, tell whether something is there. Writing is in `atomic`.
"""

import os
import re
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from shutil import rmtree
from typing import NoReturn, Protocol, Self, TypeVar, cast
from urllib.parse import parse_qsl, unquote, urlsplit

from ..errors import InputError
from .object_errors import StoreError
from .objects import ObjectPath

T = TypeVar("T")

SCHEMES = ("s3", "gs", "file")
_OPTIONS = {
    "s3": ("region", "scheme", "endpoint_override"),
    "gs": ("scheme", "endpoint_override"),
}
_VALUES = {
    "region": (re.compile(r"[a-z0-9-]{1,64}"), "the name of a region"),
    "scheme": (re.compile(r"https?"), "http or https"),
    "endpoint_override": (
        re.compile(r"[A-Za-z0-9._-]{1,253}(:[0-9]{1,5})?"),
        "HOST or HOST:PORT",
    ),
}
_URI = re.compile(r"([A-Za-z][A-Za-z0-9+.-]*):/")
_BUCKET = re.compile(r"[a-z0-9][a-z0-9._-]{1,61}[a-z0-9]")
_PART = re.compile(r"[^\x00-\x1f\x7f%#?:\\/]{1,255}")
_AT_ONCE = 16  # objects that are asked for together


class Place(Protocol):
    """Where a file or a folder lies: a `pathlib.Path`, or an `ObjectPath`."""

    @property
    def name(self) -> str:
        """The last part."""

    @property
    def stem(self) -> str:
        """The last part without its suffix."""

    @property
    def suffix(self) -> str:
        """The suffix with its dot, or nothing."""

    @property
    def parent(self) -> Self:
        """What it lies in."""

    def __truediv__(self, name: str, /) -> Self:
        """Return what lies below."""

    def read_bytes(self) -> bytes:
        """Return all of a file."""

    def is_file(self) -> bool:
        """Tell whether there is such a file."""

    def is_dir(self) -> bool:
        """Tell whether there is such a folder."""

    def iterdir(self) -> Iterator[Self]:
        """Yield what lies directly below."""

    def unlink(self, missing_ok: bool = False) -> None:
        """Remove a file."""


def place_of(text: str, field: str) -> Place:
    """Return the place that a text names.

    Args:
        text: a path, or an address: `s3://bucket/prefix?endpoint_override=HOST:PORT`,
            `gs://bucket/prefix`, `file:///folder`.
        field: what faults call it.

    Raises:
        InputError: it is none that can be used; what it says of it is no secret.
    """
    found = _URI.match(text)
    if found is None:
        return Path(text)
    scheme = found[1].lower()
    if scheme not in SCHEMES:
        listed = ", ".join(f"{one}://" for one in SCHEMES)
        _refuse(field, f"must be a folder or start with {listed}, got {scheme}:")
    if text[found.end() : found.end() + 1] != "/":
        _refuse(field, f"must have two strokes after {scheme}:")
    try:
        parts = urlsplit(text)
    except ValueError:
        _refuse(field, "is no address")
    if "@" in parts.netloc:
        _refuse(field, "must not hold a user or password; set them in the environment")
    if "#" in text:
        _refuse(field, "must not hold a #")
    if scheme == "file":
        if parts.netloc not in ("", "localhost") or parts.query:
            _refuse(field, "must be file:///FOLDER, of this machine")
        return Path(unquote(parts.path))
    if _BUCKET.fullmatch(parts.netloc) is None:
        _refuse(field, f"must name a bucket after {scheme}://")
    return ObjectPath(
        scheme=scheme,
        key="/".join([parts.netloc, *_names(parts.path, field)]),
        options=_options(scheme, parts.query, field),
    )


def local_path(text: str | Path, field: str) -> Path:
    """Return a path of this machine, where nothing else will do.

    Raises:
        InputError: it is an address of an object store, or none at all.
    """
    # A path has lost one of two strokes.
    if _URI.match(str(text)) is not None:
        scheme = str(text).partition(":")[0]
        _refuse(field, f"must lie on this machine, got {scheme}:")
    return Path(text)


def failure_words(error: OSError) -> str:
    """Return what kept a file from being written or read, and which, in one line."""
    reason = (error.strerror or str(error)).lower()
    if isinstance(error, StoreError):
        return f"{error.filename}: {reason}"
    named = "" if error.filename is None else f", {error.filename}"
    return f"cannot be written: {reason}{named}"


def size_of(place: Place) -> int | None:
    """Return the length of a file [bytes]; None where there is none."""
    if isinstance(place, ObjectPath):
        return place.size()
    try:
        return cast(Path, place).stat().st_size
    except FileNotFoundError:
        return None


def modified_s(place: Place) -> float | None:
    """Return when a file was written, Unix time; None where there is none."""
    if isinstance(place, ObjectPath):
        return place.modified_s()
    try:
        return cast(Path, place).stat().st_mtime
    except FileNotFoundError:
        return None


def start_of(place: Place, n_bytes: int) -> tuple[bytes, int] | None:
    """Return the first bytes of a file, and its length; None where there is none."""
    if isinstance(place, ObjectPath):
        return place.start(n_bytes)
    try:
        with cast(Path, place).open("rb") as file:
            return file.read(n_bytes), os.fstat(file.fileno()).st_size
    except FileNotFoundError:
        return None


def read_all(places: Sequence[Place]) -> list[bytes | None]:
    """Return the bytes of files, None for each that is not there.

    Those of an object store are asked for several at a time.
    """
    return at_once(places, bytes_of)


def at_once(places: Sequence[Place], do: Callable[[Place], T]) -> list[T]:
    """Return what a function gives for each place, in their order.

    Those of an object store are dealt with several at a time.
    """
    if len(places) > 1 and isinstance(places[0], ObjectPath):
        from concurrent.futures import ThreadPoolExecutor

        with ThreadPoolExecutor(min(len(places), _AT_ONCE)) as threads:
            return list(threads.map(do, places))
    return [do(place) for place in places]


def remove_folder(folder: Place) -> None:
    """Remove a folder with all that is in it; one that is not there is no matter."""
    if isinstance(folder, ObjectPath):
        folder.remove_below()
    else:
        rmtree(cast(Path, folder), ignore_errors=True)


def bytes_of(place: Place) -> bytes | None:
    """Return the bytes of a file; None where there is none."""
    try:
        return place.read_bytes()
    except FileNotFoundError:
        return None


def _names(path: str, field: str) -> list[str]:
    names = path.strip("/").split("/") if path.strip("/") else []
    for name in names:
        if name in (".", "..") or _PART.fullmatch(name) is None:
            _refuse(
                field,
                "has a part of its path that is empty, dots, or has one of % # ? : \\",
            )
    return names


def _options(scheme: str, query: str, field: str) -> str:
    try:
        pairs = parse_qsl(query, keep_blank_values=True, strict_parsing=bool(query))
    except ValueError:
        _refuse(field, "must have options of the form ?name=value&name=value")
    names = [name for name, _ in pairs]
    listed = ", ".join(_OPTIONS[scheme])
    if len(set(names)) < len(names) or not set(names) <= set(_OPTIONS[scheme]):
        _refuse(field, f"may have each of the options {listed} once, and no other")
    for name, value in pairs:
        pattern, words = _VALUES[name]
        if pattern.fullmatch(value) is None:
            _refuse(field, f"must have {words} as its {name}")
    return "&".join(f"{name}={value}" for name, value in sorted(pairs))


def _refuse(field: str, message: str) -> NoReturn:
    raise InputError(field, message)
