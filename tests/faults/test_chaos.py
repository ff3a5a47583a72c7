"""Everything at once: children, workers and Redis are killed while a batch runs."""

import os
import random
import signal
import time

import pytest
from farms import Process, TestFarm, children_of, until
from walks import many_shots, walking_job

from carrellata.jobs.run.local import solve_job
from carrellata.worker.farm.farm import status

SEED = 7


class Chaos:
    """Kills parts of a farm in a random order, a supervisor starting them again."""

    def __init__(self, farm: TestFarm, workers: list[Process]) -> None:
        self.farm = farm
        self.workers = workers
        self._random = random.Random(SEED)

    def run(self, *, children: int, workers: int, servers: int, pause_s: float) -> int:
        """Kill so many of each and return how many kills there were."""
        plan = ["child"] * children + ["worker"] * workers + ["server"] * servers
        self._random.shuffle(plan)
        for one in plan:
            time.sleep(pause_s * self._random.uniform(0.5, 1.5))
            getattr(self, f"_kill_{one}")()
        return len(plan)

    def _kill_child(self) -> None:
        worker = self._random.choice(self.workers)
        victims = until(lambda: children_of(worker.pid))
        try:
            os.kill(self._random.choice(victims), signal.SIGKILL)
        except ProcessLookupError:
            self._kill_child()

    def _kill_worker(self) -> None:
        victim = self.workers.pop(self._random.randrange(len(self.workers)))
        victim.kill()
        self.workers.append(self.farm.worker(processes=1))

    def _kill_server(self) -> None:
        self.farm.server.kill()
        time.sleep(self._random.uniform(0.2, 1.0))
        self.farm.server.start()


def hold_through_chaos(farm: TestFarm, n_shots: int, **kills: int) -> None:
    farm.faults["slow_s"] = 0.3
    farm.sweeper()
    workers = [farm.worker(processes=1) for _ in range(2)]
    job = farm.job(walking_job(*many_shots(n_shots)))
    batch = farm.submit(job).batch
    until(lambda: len(farm.started()) >= 3)
    n_kills = Chaos(farm, workers).run(**kills, pause_s=0.3)
    done = farm.end(batch, seconds=600)
    assert (done.state, done.total) == ("done", n_shots)
    assert done.counts == {"solved": n_shots}
    solve_job(job, farm.folder / "local", workers=1)
    assert farm.takes() == farm.takes("local")
    until(farm.is_empty)
    joined = [
        line
        for log in sorted(farm.folder.glob("batch-*.log"))
        for line in log.read_text().splitlines()
        if '"batch done"' in line
    ]
    assert len(joined) == 1
    assert status(farm.farm(), batch).closed
    print(f"{n_shots} shots, {n_kills} kills, {len(farm.started())} starts")


@pytest.mark.slow
def test_batch_is_whole_after_some_kills(farm: TestFarm) -> None:
    hold_through_chaos(farm, 60, children=4, workers=2, servers=1)


@pytest.mark.long
def test_batch_is_whole_after_many_kills(farm: TestFarm) -> None:
    hold_through_chaos(farm, 300, children=10, workers=5, servers=2)
