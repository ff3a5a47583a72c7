"""The tests folder on the import path, what runs side by side, and one S3 server."""

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from object_store import ObjectStore

TESTS = Path(__file__).parent
sys.path.insert(0, str(TESTS))

# What takes longest is not left for the end, when the other processes have no work.
# Farms come first, since they wait more than they work.
LONG = (
    "faults",
    "solver/studies",
    "e2e",
    "evidence",
    "pages",
    "worker",
    "jobs/study",
    "jobs/commands",
)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the tests that take long first."""

    def rank(item: pytest.Item) -> int:
        place = item.path.relative_to(TESTS).as_posix()
        starts = (k for k, name in enumerate(LONG) if place.startswith(f"{name}/"))
        return next(starts, len(LONG))

    items.sort(key=rank)


@pytest.fixture(scope="session")
def object_server(
    tmp_path_factory: pytest.TempPathFactory,
) -> "Iterator[ObjectStore]":
    from object_store import ObjectStore

    made = ObjectStore(tmp_path_factory.mktemp("s3") / "log")
    yield made
    made.stop()


@pytest.fixture
def object_store(
    object_server: "ObjectStore", monkeypatch: pytest.MonkeyPatch
) -> "ObjectStore":
    """Give the test an empty store of its own, and the rights to it."""
    from object_store import CREDENTIALS

    for name, value in CREDENTIALS.items():
        monkeypatch.setenv(name, value)
    object_server.empty()
    return object_server
