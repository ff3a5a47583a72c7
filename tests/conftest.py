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

# Farms wait more than they work: they come first, in two rows of about the same length.
FARM = "faults"
FIRST_ROW = ("test_workers.py", "test_interactive.py", "test_messages.py")
# What takes longest is not left for the end, when the other processes have no work.
LONG = ("solver/studies", "e2e", "evidence", "pages", "worker", "jobs/commands")


# First, since what runs tests side by side reads the groups in this hook too.
@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Give a process whole files, so that fixtures of a module are made once."""
    order = (FARM, *LONG)

    def rank(item: pytest.Item) -> int:
        place = item.path.relative_to(TESTS).as_posix()
        starts = (k for k, name in enumerate(order) if place.startswith(f"{name}/"))
        return next(starts, len(order))

    items.sort(key=rank)
    for item in items:
        place = item.path.relative_to(TESTS)
        group = place.as_posix()
        if place.parts[0] == FARM:
            group = f"{FARM}, first row {place.name in FIRST_ROW}"
        item.add_marker(pytest.mark.xdist_group(group))


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
