"""Redis that is killed, cut off, full or gone for good: the work is done anyway."""

from collections.abc import Callable

import pytest
from farms import TestFarm, until
from proxies import Proxy
from walks import many_shots, walking_job

from carrellata.jobs.errors import ServiceError
from carrellata.jobs.run.local import solve_job
from carrellata.worker.farm.broker import FullError
from carrellata.worker.farm.farm import status

pytestmark = pytest.mark.slow


def test_redis_killed_and_started_again_loses_nothing(farm: TestFarm) -> None:
    farm.faults["slow_s"] = 0.4
    worker = farm.worker()
    farm.sweeper()
    job = farm.job(walking_job(*many_shots(20)))
    batch = farm.submit(job).batch
    until(lambda: len(farm.started()) >= 5)
    farm.server.kill()
    until(lambda: any("onnection" in one["message"] for one in worker.lines()))
    farm.server.start()
    assert farm.end(batch).counts == {"solved": 20}
    assert worker.alive
    solve_job(job, farm.folder / "local", workers=1)
    assert farm.takes() == farm.takes("local")


def test_silent_network_is_noticed_and_work_goes_on_when_it_heals(
    farm: TestFarm,
) -> None:
    proxy = Proxy(farm.server.port)
    direct, farm.address = farm.address, proxy.address
    farm.faults["slow_s"] = 0.2
    worker = farm.worker()
    farm.address = direct  # only the worker is behind the cut
    batch = farm.submit(farm.job(walking_job(*many_shots(60)))).batch
    until(lambda: len(farm.started()) >= 6)
    proxy.stall()
    known = proxy.n_taken
    until(lambda: proxy.n_taken > known)  # the silence is noticed while it lasts
    before = len(farm.started())
    proxy.heal()
    assert before < 60
    assert farm.end(batch).counts == {"solved": 60}
    assert worker.alive
    proxy.close()


def test_full_redis_is_said_and_nothing_is_lost(farm: TestFarm) -> None:
    farm.faults["slow_s"] = 0.3
    worker = farm.worker()
    job = farm.job(walking_job(*many_shots(24)))
    batch = farm.submit(job).batch
    until(lambda: len(farm.started()) >= 4)
    with farm.server.client() as client:
        client.config_set("maxmemory", "1mb")
    # It ends rather than lose what it cannot give back; a supervisor starts another.
    until(lambda: not worker.alive)
    other = farm.job(walking_job(*many_shots(3), sequence="other"), "other")
    with pytest.raises(FullError, match=r"Redis at redis://.* is full"):
        farm.submit(other, "other_out")
    ended = farm.run("submit", other, "-o", farm.folder / "other_out")
    assert ended.returncode == 3
    assert "is full" in ended.stderr
    assert not (farm.folder / "other_out").exists()
    with farm.server.client() as client:
        client.config_set("maxmemory", "0")
    farm.worker()
    farm.sweeper()
    assert farm.end(batch).counts == {"solved": 24}
    again = farm.submit(other, "other_out")
    assert farm.end(again.batch).counts == {"solved": 3}


def test_redis_lost_for_good_is_set_up_again_from_the_records(
    farm: TestFarm,
) -> None:
    farm.faults["slow_s"] = 0.3
    farm.worker()
    batch = farm.submit(farm.job(walking_job(*many_shots(20)))).batch
    until(lambda: len(farm.started()) >= 6)
    with farm.server.client() as client:
        client.flushall()
    farm.sweeper()
    done = farm.end(batch)
    assert done.counts == {"solved": 20}
    # What was done was not done again, but for the two in hand.
    assert len(farm.started()) <= 24


def test_redis_that_is_not_there_is_exit_code_three(farm: TestFarm) -> None:
    job = farm.job(walking_job(*many_shots(2)))
    farm.server.kill()
    with pytest.raises(ServiceError, match="does not answer"):
        farm.submit(job)
    for words in (("submit", job), ("status", "--farm")):
        ended = farm.run(*words)
        assert ended.returncode == 3
        assert ended.stderr.strip().endswith("does not answer")
        assert len(ended.stderr.strip().splitlines()) == 1
    # `status` looks whether records could be written; nothing is.
    assert not list((farm.folder / "spool").rglob("*"))
    farm.server.start()
    farm.worker()
    assert farm.end(farm.submit(job).batch).counts == {"solved": 2}


def test_lost_message_is_sent_again_once_all_is_quiet(
    make_farm: Callable[..., TestFarm],
) -> None:
    farm = make_farm(TIME_LIMIT_S="1", VISIBILITY_TIMEOUT_S="2")
    batch = farm.submit(farm.job(walking_job(*many_shots(3)))).batch
    with farm.server.client() as client:
        client.delete("batch")  # as an administrator's mistake would
    farm.worker()
    farm.sweeper()
    assert farm.end(batch).counts == {"solved": 3}
    assert status(farm.farm(), batch).finished_s is not None
