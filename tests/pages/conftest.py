"""One browser and one solved sequence for all tests of pages."""

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from browser import chromium
from playwright.sync_api import Browser

from carrellata.jobs.examples.ferry_dash.make import FOLDER
from carrellata.jobs.run.local import solve_job


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    # Not for the whole session: its event loop runs as long as it does.
    with chromium() as running:
        yield running


@pytest.fixture(scope="session")
def solved(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The example, solved: the folder of its sequence."""
    out = tmp_path_factory.mktemp("pages")
    return solve_job(FOLDER / "job.toml", out, workers=1).folder
