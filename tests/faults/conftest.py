"""Gives tests a farm and takes it away again, whatever happens."""

import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from farms import TestFarm


@pytest.fixture
def make_farm(tmp_path: Path) -> Iterator[Callable[..., TestFarm]]:
    """Give what makes farms; the settings are given by name, without prefix."""
    made: list[TestFarm] = []

    def make(**settings: Any) -> TestFarm:
        made.append(TestFarm(tmp_path / f"farm{len(made)}", **settings))
        return made[-1]

    yield make
    for farm in made:
        farm.stop()


@pytest.fixture
def farm(make_farm: Callable[..., TestFarm]) -> TestFarm:
    """Give a farm with short time-outs and no worker yet."""
    return make_farm()
