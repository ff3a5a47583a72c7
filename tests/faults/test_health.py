"""Metrics, the readable status, and what the farm's user may do in Redis."""

import re

import pytest
from acl import grant
from farms import TestFarm, until
from prometheus_client import CollectorRegistry, generate_latest
from redis.exceptions import NoPermissionError
from walks import many_shots, walking_job

from carrellata.worker.farm.health import farm_health
from carrellata.worker.farm.metrics import FarmCollector

pytestmark = pytest.mark.slow


def test_figures_say_what_the_farm_did(farm: TestFarm) -> None:
    farm.faults["poison"] = ["010"]
    farm.worker()
    farm.sweeper()
    assert farm.end(farm.submit(farm.job(walking_job(*many_shots(5)))).batch)
    client = farm.farm()
    health = until(lambda: (h := farm_health(client)).is_read("batch") and h)
    assert health.total("solved") == 4
    assert health.total("quarantined") == 1
    assert health.counts["redelivered"] >= 3
    assert [name.partition("@")[0] for name in health.workers] == ["batch0"]
    assert health.canary_s["interactive"] is None
    registry = CollectorRegistry()
    registry.register(FarmCollector(client))
    text = generate_latest(registry).decode()
    for line in (
        "carrellata_redis_up 1.0",
        'carrellata_shots_total{phase="take",status="solved"} 4.0',
        'carrellata_shots_total{phase="take",status="quarantined"} 1.0',
        'carrellata_queue_length{queue="batch"} 0.0',
        'carrellata_shot_seconds_bucket{le="+Inf",phase="take"} 5.0',
        "carrellata_workers 1.0",
    ):
        assert line in text
    said = farm.run("status", "--farm")
    assert said.returncode == 0
    assert "4 done, 0 failed, 1 quarantined" in said.stdout
    assert re.search(r"batch pool +works", said.stdout)
    farm.server.kill()
    assert farm_health(client).redis is False
    assert b"carrellata_redis_up 0.0" in generate_latest(registry)


def test_user_of_the_configuration_may_do_what_the_farm_does(farm: TestFarm) -> None:
    with farm.server.client() as admin:
        grant(admin)
        farm.address = farm.server.address_of("carrellata:PASSWORD@")
        farm.worker()
        farm.sweeper()
        batch = farm.submit(farm.job(walking_job(*many_shots(6)))).batch
        assert farm.end(batch).counts == {"solved": 6}
        assert farm.run("status", "--farm").returncode == 0
        until(lambda: farm_health(farm.farm()).is_read("batch"))
        denied = [entry["object"] for entry in admin.acl_log()]
        assert denied == []
        # It may not look at, or change, how the server is run.
        with pytest.raises(NoPermissionError):
            farm.farm().state.redis.config_get("*")
