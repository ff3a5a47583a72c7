"""Puts the tests folder on the import path, and says what may run side by side."""

import sys
from pathlib import Path

import pytest

TESTS = Path(__file__).parent
sys.path.insert(0, str(TESTS))

# Farms wait more than they work, and take the whole machine when they work: they come
# first, and one after the other.
FARM = "faults"
# What takes longest is not left for the end, when the other processes have no work.
LONG = ("solver/studies", "e2e", "evidence", "pages", "worker", "jobs/commands")


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
        group = FARM if place.parts[0] == FARM else place.as_posix()
        item.add_marker(pytest.mark.xdist_group(group))
