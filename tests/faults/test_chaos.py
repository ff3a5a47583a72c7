"""Everything at once: children, workers and Redis are killed, and the network is cut.

On a disk and on an S3 server, while a batch runs.
"""

import os
import random
import signal
import time
from collections.abc import Callable, Iterator

import pytest
from farms import Process, TestFarm, children_of, until
from object_store import ObjectStore
from proxies import Proxy
from walks import many_shots, walking_job

from carrellata.jobs.job.load import load_job
from carrellata.jobs.places.place import place_of
from carrellata.jobs.run.local import solve_job
from carrellata.worker.farm.farm import status
from carrellata.worker.farm.submission import submit

SEED = 7


class Chaos:
    """Kills parts of a farm in a random order, a supervisor starting them again.

    The workers reach Redis by a network that can be cut.
    """

    def __init__(self, farm: TestFarm, workers: list[Process], network: Proxy) -> None:
        self.farm = farm
        self.network = network
        self.workers = workers
        self._random = random.Random(SEED)

    def run(self, *, children: int, workers: int, servers: int, cuts: int) -> None:
        """Kill so many of each, and cut the network so often."""
        plan = [self._kill_child] * children + [self._kill_worker] * workers
        plan += [self._kill_server] * servers + [self._cut] * cuts
        self._random.shuffle(plan)
        for harm in plan:
            time.sleep(self._random.uniform(0.15, 0.45))
            harm()

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

    def _cut(self) -> None:
        self.network.stall()
        time.sleep(self._random.uniform(1.0, 3.0))
        self.network.heal()


@pytest.fixture(name="network")
def _network(farm: TestFarm) -> Iterator[Proxy]:
    """Put a network that can be cut between the farm and its Redis."""
    made = Proxy(farm.server.port)
    farm.address = made.address
    yield made
    made.close()


def hold_through_chaos(
    farm: TestFarm,
    network: Proxy,
    n_shots: int,
    *,
    out: str,
    written: Callable[[], dict[str, bytes]],
    **harm: int,
) -> None:
    """Hold that a batch ends with every file of a quiet local run, and no other.

    Args:
        farm: that does the batch.
        network: between it and its Redis.
        n_shots: of the batch.
        out: where the takes go.
        written: returns what lies there.
        harm: how often what happens, see `Chaos.run`.
    """
    farm.faults["slow_s"] = 0.3
    farm.sweeper()
    workers = [farm.worker(processes=1) for _ in range(3)]
    job = farm.job(walking_job(*many_shots(n_shots)))
    batch = submit(
        farm.farm(), load_job(job), folder=job.parent, out=place_of(out, "--out")
    ).batch
    until(lambda: len(farm.started()) >= 3)
    Chaos(farm, workers, network).run(**harm)
    done = farm.end(batch, seconds=900)
    assert (done.state, done.total) == ("done", n_shots)
    assert done.counts == {"solved": n_shots}
    solve_job(job, farm.folder / "local", workers=1)
    # Takes, table, review, and what `compare` reads.
    assert written() == farm.takes("local")
    until(farm.is_empty)
    joined = [
        line
        for log in sorted(farm.folder.glob("batch-*.log"))
        for line in log.read_text().splitlines()
        if '"batch done"' in line
    ]
    assert len(joined) == 1
    assert status(farm.farm(), batch).closed
    print(f"{n_shots} shots, {harm}, {len(farm.started())} starts")


FEW = {"children": 4, "workers": 2, "servers": 1, "cuts": 1}
MANY = {"children": 12, "workers": 6, "servers": 2, "cuts": 2}


@pytest.mark.slow
@pytest.mark.parametrize(
    ("n_shots", "harm"), [(60, FEW), pytest.param(300, MANY, marks=pytest.mark.long)]
)
def test_batch_on_a_disk_is_whole_after_kills(
    farm: TestFarm, network: Proxy, n_shots: int, harm: dict[str, int]
) -> None:
    out = str(farm.folder / "out")
    hold_through_chaos(farm, network, n_shots, out=out, written=farm.takes, **harm)


@pytest.fixture(name="store_farm")
def _store_farm(
    make_farm: Callable[..., TestFarm], object_store: ObjectStore
) -> TestFarm:
    return make_farm(
        OUTPUTS=object_store.address("takes"), SPOOL=object_store.address("spool")
    )


@pytest.mark.long
def test_batch_on_an_object_store_is_whole_after_many_kills(
    store_farm: TestFarm, object_store: ObjectStore
) -> None:
    network = Proxy(store_farm.server.port)
    store_farm.address = network.address
    hold_through_chaos(
        store_farm,
        network,
        300,
        out="s3://night/takes",
        written=lambda: object_store.objects("takes"),
        **MANY,
    )
    network.close()
