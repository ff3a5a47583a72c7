"""Objects of a real S3 server: whole or not there, and clear when they cannot be."""

import hashlib
import itertools
import os
import random
import re
import signal
import threading
import time
from collections.abc import Iterator
from types import FrameType
from typing import Any

import pytest
from object_store import ObjectStore
from pyarrow.fs import FileSystem

from carrellata.jobs.places import objects
from carrellata.jobs.places.atomic import name_whole, whole_file, write_whole
from carrellata.jobs.places.object_errors import StoreError, store_error
from carrellata.jobs.places.objects import ObjectPath
from carrellata.jobs.places.place import place_of, read_all, start_of

pytestmark = pytest.mark.slow


@pytest.fixture(name="store")
def _store(object_store: ObjectStore) -> ObjectStore:
    return object_store


@pytest.fixture(name="place")
def _place(store: ObjectStore, request: pytest.FixtureRequest) -> ObjectPath:
    """Give a prefix of the test's own, by the way that can break."""
    return store.place(request.node.name.replace("[", "-").strip("]"), by_way=True)


def lying(store: ObjectStore, place: ObjectPath) -> dict[str, bytes]:
    return store.objects(place.key.partition("/")[2])


def test_what_is_put_is_read_listed_copied_and_removed(
    store: ObjectStore, place: ObjectPath
) -> None:
    write_whole(place / "a" / "x.bin", b"one")
    write_whole(place / "a" / "x.bin", b"two!")
    name_whole(place / "b" / "y.bin", place / "a" / "x.bin")
    with whole_file(place / "z.html") as file:
        file.write(b"<p>")
        file.write(b"hi")
    expected = {"a/x.bin": b"two!", "b/y.bin": b"two!", "z.html": b"<p>hi"}
    assert lying(store, place) == expected
    assert {one.name for one in place.iterdir()} == {"a", "b", "z.html"}
    assert ((place / "a").is_dir(), (place / "a").is_file()) == (True, False)
    assert (place / "z.html").is_file()
    assert start_of(place / "z.html", 2) == (b"<p", 5)
    assert start_of(place / "none", 2) is None
    assert read_all([place / "none", place / "a" / "x.bin"]) == [None, b"two!"]
    (place / "z.html").unlink()
    (place / "z.html").unlink(missing_ok=True)
    with pytest.raises(FileNotFoundError):
        (place / "z.html").unlink()
    with pytest.raises(FileNotFoundError):
        name_whole(place / "c", place / "none")
    assert set(lying(store, place)) == {"a/x.bin", "b/y.bin"}
    place.remove_below()
    assert lying(store, place) == {}


@pytest.mark.parametrize("down", [True, False])
@pytest.mark.parametrize(
    ("size", "cut"),
    [(300_000, 50), (300_000, 100_000), (12 << 20, 50), (12 << 20, 7 << 20)],
)
def test_put_that_is_cut_off_leaves_what_was_there(
    store: ObjectStore,
    place: ObjectPath,
    monkeypatch: pytest.MonkeyPatch,
    size: int,
    cut: int,
    down: bool,
) -> None:
    (place / "x").put(b"before")
    monkeypatch.setattr(objects, "PATIENCE_S", 0.0)
    store.way.cut_after(cut, down=down)
    with pytest.raises(StoreError) as caught:
        (place / "x").put(os.urandom(size))
    if down:
        store.way.up()
    assert caught.value.transient
    assert caught.value.filename == f"{place.uri}/x"
    time.sleep(0.3)  # what was on its way has come
    assert lying(store, place)["x"] == b"before"


def test_large_object_leaves_nothing_but_itself(
    store: ObjectStore, place: ObjectPath
) -> None:
    data = os.urandom(12 << 20)
    (place / "x").put(data)
    assert lying(store, place) == {"x": data}


def test_what_takes_several_requests_has_another_name_until_it_is_whole(
    store: ObjectStore, place: ObjectPath, monkeypatch: pytest.MonkeyPatch
) -> None:
    keys: list[str] = []
    kept = objects._put

    def put(system: Any, key: str, data: bytes, metadata: Any) -> None:
        keys.append(key.removeprefix(f"{place.key}/"))
        kept(system, key, data, metadata)

    monkeypatch.setattr(objects, "_put", put)
    (place / "small").put(bytes(objects._ONE_REQUEST - 1))
    (place / "large").put(bytes(objects._ONE_REQUEST))
    assert keys[0] == "small"
    assert re.fullmatch(r"\.large\.[0-9a-f]{12}\.part", keys[1])
    assert {k: len(v) for k, v in lying(store, place).items()} == {
        "small": objects._ONE_REQUEST - 1,
        "large": objects._ONE_REQUEST,
    }


def test_interrupt_halfway_through_a_put_leaves_all_of_it(
    store: ObjectStore, place: ObjectPath, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupt(number: int, frame: FrameType | None) -> None:
        raise KeyboardInterrupt

    def put(system: Any, key: str, data: bytes, metadata: object) -> None:
        stream = system.open_output_stream(key)
        stream.write(data[: len(data) // 2])
        os.kill(os.getpid(), signal.SIGALRM)
        time.sleep(0.1)
        stream.write(data[len(data) // 2 :])
        stream.close()

    monkeypatch.setattr(objects, "_put", put)
    before = signal.signal(signal.SIGALRM, interrupt)
    try:
        with pytest.raises(KeyboardInterrupt):
            (place / "x").put(b"z" * 200_000)
    finally:
        signal.signal(signal.SIGALRM, before)
    end = time.monotonic() + 10  # an interrupt in the thread's start is not held up
    while not lying(store, place) and time.monotonic() < end:
        time.sleep(0.05)
    assert lying(store, place) == {"x": b"z" * 200_000}


@pytest.mark.parametrize("how", ["down", "stall"])
def test_store_that_comes_back_in_time_is_waited_for(
    store: ObjectStore, place: ObjectPath, how: str
) -> None:
    (place / "x").put(b"one")
    getattr(store.way, how)()
    back = {"down": store.way.up, "stall": store.way.heal}[how]
    threading.Timer(1.5, back).start()
    start = time.monotonic()
    (place / "x").put(b"two")
    assert 1.0 < time.monotonic() - start < 15.0
    assert (place / "x").read_bytes() == b"two"


def test_store_that_stays_silent_is_given_up(
    store: ObjectStore, place: ObjectPath, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(objects, "PATIENCE_S", 0.5)
    store.way.down()
    try:
        for ask in (place.is_dir, place.read_bytes, place.unlink, place.need_bucket):
            start = time.monotonic()
            with pytest.raises(StoreError, match="does not answer") as caught:
                ask()
            assert caught.value.transient
            assert time.monotonic() - start < 5.0
    finally:
        store.way.up()


def test_missing_bucket_and_denied_access_are_told_apart(
    store: ObjectStore, place: ObjectPath
) -> None:
    other = place_of(f"s3://nobody/x?{store.options()}", "test")
    assert isinstance(other, ObjectPath)
    for ask in (lambda: (other / "a").put(b"1"), other.need_bucket):
        with pytest.raises(StoreError, match="there is no such bucket") as caught:
            ask()
        assert not caught.value.transient
    place.need_bucket()
    (place / "a").put(b"1")
    store.deny()
    place.need_bucket()  # who may not see the bucket may still write
    for ask in (lambda: (place / "a").put(b"2"), (place / "a").read_bytes):
        with pytest.raises(StoreError, match="access is denied") as caught:
            ask()
        assert not caught.value.transient
    store.allow()
    assert (place / "a").read_bytes() == b"1"


@pytest.mark.parametrize(
    ("text", "says", "transient"),
    [
        ("AWS Error SLOW_DOWN during PutObject", "asks to be spared", True),
        ("AWS Error UNKNOWN (HTTP status 503)", "asks to be spared", True),
        ("AWS Error UNKNOWN (HTTP status 403)", "access is denied", False),
        ("AWS Error INTERNAL_FAILURE during GetObject", "asks to be spared", True),
        ("google::cloud::Status(UNAVAILABLE: x)", "does not answer", True),
        ("google::cloud::Status(PERMISSION_DENIED: x)", "access is denied", False),
        ("AWS Error INVALID_REQUEST: key abc", "refused it: invalid request", False),
        ("hunter2", "refused it: OSError", False),
    ],
)
def test_answers_of_stores_are_told_in_our_words(
    text: str, says: str, transient: bool
) -> None:
    error = store_error(OSError(f"{text} secret hunter2"), "s3://b/x")
    assert isinstance(error, StoreError)
    assert says in str(error)
    assert error.transient is transient
    assert "hunter2" not in str(error)


def versions(n: int) -> Iterator[bytes]:
    """Yield bytes of different lengths, each of which tells whether it is whole."""
    rng = random.Random(1)
    for k in range(n):
        body = k.to_bytes(8, "big") * rng.randrange(20_000, 90_000)
        yield hashlib.md5(body).digest() + body


def is_whole(data: bytes) -> bool:
    return hashlib.md5(data[16:]).digest() == data[:16]


@pytest.mark.parametrize("n_reads", [60, pytest.param(1200, marks=pytest.mark.long)])
def test_an_object_that_is_replaced_is_read_of_one_version(
    store: ObjectStore, place: ObjectPath, n_reads: int
) -> None:
    target, done = place / "x.bin", threading.Event()
    first, *others = versions(12)
    target.put(first)

    def replace() -> None:
        for data in itertools.cycle(others):
            if done.is_set():
                return
            target.put(data)

    writer = threading.Thread(target=replace)
    writer.start()
    try:
        seen = [target.read_bytes() for _ in range(n_reads)]
        heads = [target.start(16) for _ in range(n_reads // 6)]
    finally:
        done.set()
        writer.join()
    assert all(map(is_whole, seen))
    assert len(set(seen)) > 1
    known = {(data[:16], len(data)) for data in (first, *others)}
    assert set(heads) <= known


@pytest.mark.parametrize("etag", [True, False])
def test_a_read_counts_only_if_the_object_is_the_same_afterwards(
    store: ObjectStore, place: ObjectPath, monkeypatch: pytest.MonkeyPatch, etag: bool
) -> None:
    one, two = versions(2)
    target = place / "x.bin"
    target.put(one)
    if not etag:  # as of objects put in parts, or encrypted with keys of one's own
        monkeypatch.setattr(objects, "_is_digest", lambda file, data: False)
    system = objects._system(target.scheme, target.bucket.key, target.options)
    opened = 0

    class Swapping:
        """The store, in which the object is replaced once it has been opened."""

        def open_input_file(self, key: str) -> Any:
            nonlocal opened
            file = system.open_input_file(key)
            opened += 1
            if opened == 1:
                target.put(two)
            return file

    assert objects._read(Swapping(), target.key) == two
    assert opened in (2, 3)


def test_an_object_that_is_removed_while_it_is_read_is_missing(
    store: ObjectStore, place: ObjectPath, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = place / "x.bin"
    target.put(b"one")
    read = objects._read

    def removed(system: Any, key: str) -> bytes:
        with monkeypatch.context() as patch:
            patch.setattr(objects, "_TRIES", 1)
            file = system.open_input_file(key)
            target.unlink(missing_ok=True)
            file.read()
        return read(system, key)

    monkeypatch.setattr(objects, "_read", removed)
    with pytest.raises(FileNotFoundError, match="no such object"):
        target.read_bytes()


@pytest.mark.parametrize("name", ["NO_SUCH_KEY", "RESOURCE_NOT_FOUND"])
def test_what_may_be_a_missing_bucket_is_a_missing_object_where_the_bucket_is_there(
    store: ObjectStore, place: ObjectPath, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    def gone(system: Any, key: str) -> bytes:
        message = f"AWS Error {name} during GetObject operation"
        raise OSError(message)

    monkeypatch.setattr(objects, "_read", gone)
    with pytest.raises(FileNotFoundError, match="no such object"):
        (place / "x.bin").read_bytes()
    elsewhere = place_of(str(place).replace("//night/", "//nowhere/"), "test")
    if name != "NO_SUCH_KEY":
        with pytest.raises(StoreError, match="no such bucket"):
            (elsewhere / "x.bin").read_bytes()


def test_objects_have_their_kind_so_that_browsers_show_pages(
    store: ObjectStore, place: ObjectPath
) -> None:
    (place / "index.html").put(b"<p>")
    system, _ = FileSystem.from_uri(str(place))
    with system.open_input_stream(f"{place.key}/index.html") as stream:
        told = dict(stream.metadata())
    assert told["Content-Type"] == b"text/html; charset=utf-8"
