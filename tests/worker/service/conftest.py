"""One service for all tests that leave it as they found it."""

from collections.abc import Iterator

import pytest
from service_process import Service, running

FAST = "requests_per_s = 100000\nburst = 100000"
PROJECTS = {
    "north": f"[tokens.limits]\n{FAST}",
    "south": f"[tokens.limits]\n{FAST}",
    "fuzz": f"[tokens.limits]\n{FAST}\nframes = 2000\nbatches = 1000000",
    "guest": "batches = false",
    "narrow": (
        f"[tokens.limits]\n{FAST}\nframes = 50\nsamples = 100\nbatch_frames = 90\n"
        "body_bytes = 20000\nbatch_body_bytes = 30000\nfile_bytes = 100000"
    ),
    "single": f"[tokens.limits]\n{FAST}\nin_flight = 1\nbatches = 1\nstreams = 1",
    "seldom": "[tokens.limits]\nrequests_per_s = 1\nburst = 2",
}


@pytest.fixture(scope="session")
def service(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Service]:
    folder = tmp_path_factory.mktemp("service")
    with running(folder, PROJECTS, "--body-s", "2") as started:
        yield started
