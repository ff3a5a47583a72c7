"""Workers that fall silent: what they held goes to others, and only then."""

import os
import signal
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import pytest
from farms import TestFarm, children_of, until
from walks import many_shots, walking_job

from carrellata.worker.farm.holding import HOLDERS, held_key

pytestmark = pytest.mark.slow

# No message comes back by the queue's own time-out while a test runs.
PATIENT = {"TIME_LIMIT_S": "300", "VISIBILITY_TIMEOUT_S": "3600", "SILENT_S": "5"}


def solvers_of(worker: int) -> list[int]:
    """Return the worker's process and its children, without its beat."""
    beats = [
        pid
        for pid in children_of(worker)
        if b"carrellata.worker.farm.beat" in Path(f"/proc/{pid}/cmdline").read_bytes()
    ]
    return [worker, *(pid for pid in children_of(worker) if pid not in beats)]


def test_what_a_dead_worker_held_is_given_to_another(
    make_farm: Callable[..., TestFarm],
) -> None:
    farm = make_farm(**PATIENT)
    farm.faults["slow_s"] = 600.0
    worker = farm.worker()
    batch = farm.submit(farm.job(walking_job(*many_shots(4)))).batch
    until(lambda: len(farm.started()) == 2)
    worker.kill()
    farm.faults["slow_s"] = 0.0
    farm.worker()
    sweeper = farm.sweeper()
    assert farm.end(batch).counts == {"solved": 4}
    assert len(sweeper.said("worker gone")) == 1
    with farm.server.client() as client:
        assert client.scard(HOLDERS) == 1  # the one that lives


def test_a_worker_that_is_stopped_for_a_while_keeps_what_it_holds(
    make_farm: Callable[..., TestFarm],
) -> None:
    farm = make_farm(**PATIENT)
    farm.faults["slow_s"] = 1.0
    first = farm.worker(processes=1)
    sweeper = farm.sweeper()
    with farm.server.client() as client:
        until(lambda: client.scard(HOLDERS) == 1)
        batch = farm.submit(farm.job(walking_job(*many_shots(6)))).batch
        until(lambda: farm.started())
        stopped = solvers_of(first.pid)
        for pid in stopped:
            os.kill(pid, signal.SIGSTOP)
        farm.worker(processes=1)
        time.sleep(2.5 * float(PATIENT["SILENT_S"]))
        for pid in stopped:
            os.kill(pid, signal.SIGCONT)
        assert farm.end(batch).counts == {"solved": 6}
        starts = Counter(line["shot"] for line in farm.started())
        assert set(starts.values()) == {1}
        assert sweeper.said("worker gone") == []
        # Nothing is noted for longer than it is held.
        until(farm.is_empty)
        until(
            lambda: not any(client.scard(held_key(h)) for h in client.smembers(HOLDERS))
        )
