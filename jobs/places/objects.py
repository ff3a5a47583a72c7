"""Files in an object store, by pyarrow's file systems.

An object appears whole or not at all, so a plain put is what a temporary name and a
rename are on a disk. A read takes several requests, between which the object may be
replaced: it counts only where the store says the same of the object before and after.
What fails for want of an answer is asked again for a while.
Credentials are never in an address: pyarrow finds them in the environment.
"""

import errno
import hashlib
import os
import random
import secrets
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, suppress
from dataclasses import dataclass
from datetime import timedelta
from pathlib import PurePosixPath
from typing import Any, Self, TypeVar
from urllib.parse import parse_qsl

from .object_errors import Replaced, StoreError, may_be_missing, store_error

T = TypeVar("T")

PATIENCE_S = 20.0
"""For how long what gets no answer is asked again; well below a message's limit."""

_CONNECT_S, _REQUEST_S = 3.0, 10.0
_PAUSE_S, _LONGEST_PAUSE_S = 0.1, 2.0

_TRIES = 8  # reads of an object that is being replaced, before a pause
_ONE_REQUEST = 4 << 20  # bytes; what is shorter is put whole by a single request

_KINDS = {
    ".html": "text/html; charset=utf-8",
    ".json": "application/json",
    ".csv": "text/csv; charset=utf-8",
    ".png": "image/png",
    ".svg": "image/svg+xml",
}
"""What browsers are told of an object; without it they would save pages to disk."""


@dataclass(frozen=True, kw_only=True, slots=True)
class ObjectPath:
    """Where an object lies, or those whose names start alike; as `pathlib.Path` is.

    Attributes:
        scheme: `s3` or `gs`.
        key: bucket and name, `bucket/a/b.parquet`.
        options: of the store, as after the `?` of an address; nothing secret.
    """

    scheme: str
    key: str
    options: str = ""

    def __str__(self) -> str:
        """Return the address, which `files.place_of` reads back the same."""
        return self.uri + (f"?{self.options}" if self.options else "")

    def __truediv__(self, name: str) -> Self:
        """Return what lies below."""
        return self._at(f"{self.key}/{name}")

    @property
    def uri(self) -> str:
        """The address without the options of the store."""
        return f"{self.scheme}://{self.key}"

    @property
    def bucket(self) -> Self:
        """The bucket itself."""
        return self._at(self.key.partition("/")[0])

    @property
    def parent(self) -> Self:
        """What it lies in; of a bucket, the bucket."""
        return self._at(self.key.rpartition("/")[0] or self.key)

    @property
    def name(self) -> str:
        """The last part."""
        return self.key.rpartition("/")[2]

    @property
    def stem(self) -> str:
        """The last part without its suffix."""
        return PurePosixPath(self.name).stem

    @property
    def suffix(self) -> str:
        """The suffix with its dot, or nothing."""
        return PurePosixPath(self.name).suffix

    def is_below(self, other: "ObjectPath") -> bool:
        """Tell whether it is another, or lies in it, by the same way to the store."""
        same = (self.scheme, self.options) == (other.scheme, other.options)
        return same and f"{self.key}/".startswith(f"{other.key}/")

    def read_bytes(self) -> bytes:
        """Return all of an object, of one version.

        Raises:
            FileNotFoundError: there is none.
            StoreError: the store does not give it.
        """
        return self._ask(lambda system: _read(system, self.key))

    def start(self, n_bytes: int) -> tuple[bytes, int] | None:
        """Return the first bytes of an object and its length, of one version.

        None where there is no object.

        Raises:
            StoreError: the store does not give it.
        """
        try:
            return self._ask(lambda system: _start(system, self.key, n_bytes))
        except FileNotFoundError:
            return None

    def put(self, data: bytes | memoryview) -> None:
        """Make an object these bytes, whole, whatever it was.

        Raises:
            StoreError: the store does not take it; the object is as it was.
        """
        kind = _KINDS.get(self.suffix)
        metadata = None if kind is None else {"Content-Type": kind}
        put = _put if len(data) < _ONE_REQUEST else _put_large
        # An interrupt between opening and closing a stream would leave part of the
        # bytes: a stream that is dropped is closed. Signals end nothing in a thread.
        self._ask(
            lambda system: _unbroken(lambda: put(system, self.key, data, metadata))
        )

    def copy_from(self, other: "ObjectPath") -> None:
        """Make an object the same bytes as another, without reading them here.

        Raises:
            FileNotFoundError: the other is not there.
            StoreError: the store does not do it; the object is as it was.
        """
        self._ask(lambda system: system.copy_file(other.key, self.key))

    def size(self) -> int | None:
        """Return the length of an object; None where there is none."""
        found = self._about()
        return int(found.size) if found.is_file else None

    def modified_s(self) -> float | None:
        """Return when an object was put, by the store's clock; None without one."""
        found = self._about()
        return found.mtime_ns / 1e9 if found.is_file else None

    def is_file(self) -> bool:
        """Tell whether there is such an object."""
        return self.size() is not None

    def is_dir(self) -> bool:
        """Tell whether any object lies below."""
        from pyarrow.fs import FileType

        return bool(self._about().type == FileType.Directory)

    def iterdir(self) -> Iterator[Self]:
        """Yield what lies directly below, objects and folders; nothing where none."""
        for found in self.listed():
            yield self._at(found.path)

    def listed(self) -> list[Any]:
        """Return pyarrow's `FileInfo` of what lies directly below."""
        from pyarrow.fs import FileSelector

        selector = FileSelector(self.key, allow_not_found=True)
        found: list[Any] = self._ask(lambda system: system.get_file_info(selector))
        return found

    def unlink(self, missing_ok: bool = False) -> None:
        """Remove an object.

        Raises:
            FileNotFoundError: there is none, unless that is no matter.
            StoreError: the store does not do it.
        """
        try:
            self._ask(lambda system: system.delete_file(self.key))
        except FileNotFoundError:
            if not missing_ok:
                raise

    def remove_below(self) -> None:
        """Remove all objects below.

        Raises:
            StoreError: the store does not do it.
        """
        try:
            self._ask(lambda system: system.delete_dir(self.key))
        except FileNotFoundError:
            return

    def need_bucket(self) -> None:
        """Find out at once whether the store and the bucket are there.

        Raises:
            StoreError: there is no such bucket, or the store does not answer.
        """
        bucket = self.bucket
        try:
            found = bucket.is_dir()
        except StoreError as error:
            if error.transient:
                raise
            return  # who may write below a prefix need not see the bucket
        if not found:
            text = "AWS Error NO_SUCH_BUCKET"
            raise store_error(OSError(text), bucket.uri)

    def _missing(self) -> FileNotFoundError:
        return FileNotFoundError(errno.ENOENT, "no such object", self.uri)

    def _has_bucket(self) -> bool:
        """Tell whether the bucket is there, or nobody says that it is not."""
        from pyarrow import ArrowException
        from pyarrow.fs import FileType

        bucket = self.bucket.key
        try:
            found = _system(self.scheme, bucket, self.options).get_file_info(bucket)
        except (OSError, ArrowException):
            return True  # who may use a prefix need not see the bucket
        return bool(found.type == FileType.Directory)

    def _about(self) -> Any:
        return self._ask(lambda system: system.get_file_info(self.key))

    def _at(self, key: str) -> Self:
        return type(self)(scheme=self.scheme, key=key, options=self.options)

    def _ask(self, what: Callable[[Any], T]) -> T:
        """Return what a store answers; asked again while that may help.

        What is asked does no harm when it is done twice.
        """
        from pyarrow import ArrowException

        start, pause_s = time.monotonic(), _PAUSE_S
        while True:
            try:
                return what(_system(self.scheme, self.bucket.key, self.options))
            except FileNotFoundError:
                raise self._missing() from None
            except (OSError, ArrowException) as error:
                if may_be_missing(error) and self._has_bucket():
                    raise self._missing() from None
                fault = store_error(error, self.uri)
            late = time.monotonic() - start + pause_s > PATIENCE_S
            if late or not (isinstance(fault, StoreError) and fault.transient):
                raise fault
            time.sleep(pause_s * random.uniform(0.5, 1.0))
            pause_s = min(2 * pause_s, _LONGEST_PAUSE_S)


def _read(system: Any, key: str) -> bytes:
    """Return all of an object, of one version.

    Raises:
        Replaced: whatever was read may be of several versions.
    """
    with ExitStack() as files:
        file = files.enter_context(system.open_input_file(key))
        for _ in range(_TRIES):
            data: bytes = file.read()
            if _is_digest(file, data):
                return data
            again = files.enter_context(system.open_input_file(key))
            if again.metadata() == file.metadata() and len(data) == file.size():
                return data
            file = again
    raise Replaced(key)


def _is_digest(file: Any, data: bytes) -> bool:
    """Tell whether the entity tag of an open object is the MD5 of some bytes.

    It is of objects put by one request, with most stores: such bytes are a version.
    """
    tag: bytes = (file.metadata() or {}).get("ETag", b"")
    return (
        tag.strip(b'"').decode() == hashlib.md5(data, usedforsecurity=False).hexdigest()
    )


def _start(system: Any, key: str, n_bytes: int) -> tuple[bytes, int]:
    """Return the first bytes of an object and its length; see `_read`."""
    with ExitStack() as files:
        file = files.enter_context(system.open_input_file(key))
        for _ in range(_TRIES):
            found = file.read(n_bytes), file.size()
            again = files.enter_context(system.open_input_file(key))
            if again.metadata() == file.metadata():
                return found
            file = again
    raise Replaced(key)


def _put(
    system: Any,
    key: str,
    data: bytes | memoryview,
    metadata: dict[str, str] | None,
) -> None:
    stream = system.open_output_stream(key, metadata=metadata)
    stream.write(data)
    stream.close()


def _put_large(
    system: Any,
    key: str,
    data: bytes | memoryview,
    metadata: dict[str, str] | None,
) -> None:
    """Put what goes in several requests: a stream that fails may end as less."""
    folder, _, name = key.rpartition("/")
    temporary = f"{folder}/.{name}.{secrets.token_hex(6)}.part"
    try:
        _put(system, temporary, data, metadata)
        system.copy_file(temporary, key)
    finally:
        with suppress(OSError):
            system.delete_file(temporary)


def _unbroken(what: Callable[[], None]) -> None:
    """Do something that no signal to this process's Python code ends halfway."""
    from concurrent.futures import ThreadPoolExecutor

    with ThreadPoolExecutor(max_workers=1) as thread:
        thread.submit(what).result()


_systems: dict[tuple[int, str, str, str], Any] = {}


def _system(scheme: str, bucket: str, options: str) -> Any:
    """Return the file system of a bucket, this process's own."""
    known = os.getpid(), scheme, bucket, options
    if known not in _systems:
        _systems[known] = _made(scheme, bucket, options)
    return _systems[known]


def _made(scheme: str, bucket: str, options: str) -> Any:
    """Return a file system that gives up soon: whoever asked waits and asks again."""
    from pyarrow import fs

    named = dict(parse_qsl(options))
    if scheme == "gs":
        return fs.GcsFileSystem(**named, retry_time_limit=timedelta(seconds=_REQUEST_S))
    # Finds the region of a bucket where nothing says it.
    found, _ = fs.FileSystem.from_uri(f"s3://{bucket}?{options}".rstrip("?"))
    return fs.S3FileSystem(
        **named | {"region": found.region},
        connect_timeout=_CONNECT_S,
        request_timeout=_REQUEST_S,
        retry_strategy=fs.AwsStandardS3RetryStrategy(max_attempts=1),
        allow_delayed_open=True,  # one request for an object of usual size
        background_writes=False,
    )
