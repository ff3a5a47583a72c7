"""A farm that writes to a real S3 server: its faults lose nothing and halve nothing."""

import json
import threading
from collections.abc import Callable
from pathlib import Path

import pytest
from farms import TestFarm, until
from object_store import SECRET, ObjectStore
from walks import many_shots, walking_job, walking_shot

from carrellata.jobs.job.load import load_job
from carrellata.jobs.places.place import place_of
from carrellata.jobs.run.local import solve_job
from carrellata.worker.farm.farm import outcomes
from carrellata.worker.farm.submission import Submitted, retry, submit

pytestmark = pytest.mark.slow

PROCESSES = 2  # of a worker, where nothing else is said


def quiet(files: dict[str, bytes], told: tuple[str, ...]) -> dict[str, bytes]:
    """Return files but for those that tell how a take came to be there."""
    return {name: files[name] for name in files if not name.startswith(told)}


@pytest.fixture(name="store")
def _store(object_store: ObjectStore) -> ObjectStore:
    return object_store


MakeFarm = Callable[..., TestFarm]


def farm_on(make_farm: MakeFarm, store: ObjectStore, **settings: str) -> TestFarm:
    """Return a farm whose takes and records all lie in the store."""
    given = {
        "OUTPUTS": store.address("takes", by_way=True),
        "SPOOL": store.address("spool", by_way=True),
        "TIME_LIMIT_S": "60",
        "VISIBILITY_TIMEOUT_S": "120",
    }
    return make_farm(**(given | settings))


def put(farm: TestFarm, job: Path, out: str) -> Submitted:
    place = place_of(out, "--out")
    return submit(farm.farm(), load_job(job), folder=job.parent, out=place)


def local(farm: TestFarm, job: Path) -> dict[str, bytes]:
    solve_job(job, farm.folder / "local", workers=1)
    return farm.takes("local")


def taken(store: ObjectStore) -> dict[str, bytes]:
    """Return what lies below the outputs, as it would in a folder."""
    return store.objects("takes")


def test_worker_killed_in_a_run_leaves_the_bytes_of_a_calm_local_one(
    make_farm: MakeFarm, store: ObjectStore
) -> None:
    farm = farm_on(make_farm, store, TIME_LIMIT_S="10", VISIBILITY_TIMEOUT_S="20")
    farm.faults["slow_s"] = 0.2
    job = farm.job(walking_job(*many_shots(20), walking_shot("900", lens_mm="choose")))
    worker = farm.worker()
    batch = put(farm, job, "s3://night/takes").batch
    until(lambda: len(farm.started()) >= 6)
    worker.kill()
    farm.worker()
    farm.sweeper()
    assert farm.end(batch).counts == {"solved": 21}
    expected = local(farm, job)
    assert "chase/candidates/900.json" in expected
    assert taken(store) == expected
    # Nothing of the records lies anywhere else, and no secret in any of them.
    assert not (farm.folder / "spool").exists()
    assert any(name.endswith("closed.json") for name in store.objects("spool"))
    written = b"".join(store.objects("spool").values())
    logs = b"".join(path.read_bytes() for path in farm.folder.glob("*.log"))
    assert SECRET.encode() not in written + logs
    until(farm.is_empty)


def test_store_that_goes_away_and_comes_back_fails_no_shot(
    make_farm: MakeFarm, store: ObjectStore
) -> None:
    farm = farm_on(make_farm, store)
    farm.faults["slow_s"] = 0.1
    job = farm.job(walking_job(*many_shots(20)))
    worker = farm.worker()
    batch = put(farm, job, "s3://night/takes").batch
    until(lambda: len(farm.started()) >= 4)
    store.way.down()
    threading.Timer(30.0, store.way.up).start()  # longer than a request has patience
    until(lambda: worker.said("given back"), seconds=60)
    assert farm.end(batch).counts == {"solved": 20}
    assert taken(store) == local(farm, job)
    reasons = {line["reason"] for line in worker.said("given back")}
    assert all("the object store does not answer" in one for one in reasons)


def test_night_is_finished_from_the_store_after_redis_is_lost(
    make_farm: MakeFarm, store: ObjectStore
) -> None:
    farm = farm_on(make_farm, store)
    farm.faults["slow_s"] = 0.2
    job = farm.job(walking_job(*many_shots(20)))
    worker = farm.worker()
    put(farm, job, "s3://night/takes")
    until(lambda: len([k for k in taken(store) if "/takes/" in k]) >= 5)
    worker.kill()
    with farm.server.client() as client:
        client.flushall()
    n_done = len([name for name in taken(store) if "/takes/" in name])
    n_started = len(farm.started())
    farm.worker()
    done = farm.end(put(farm, job, "s3://night/takes").batch)
    assert set(done.counts) == {"kept", "solved"}
    # The store may still have been writing one for each process that was killed.
    assert n_done <= done.counts["kept"] <= n_done + PROCESSES
    assert len(farm.started()) - n_started == 20
    # The table says which takes were kept; they and the pages are those of a calm run.
    there, here = taken(store), local(farm, job)
    told = ("chase/sequence.parquet", "chase/rows/")
    assert quiet(there, told) == quiet(here, told)


def test_denied_shots_are_named_and_done_once_access_is_back(
    make_farm: MakeFarm, store: ObjectStore
) -> None:
    # The records are on a disk: they can be written while takes cannot.
    long = {"TIME_LIMIT_S": "20", "VISIBILITY_TIMEOUT_S": "40"}
    farm = make_farm(OUTPUTS=store.address("takes"), **long)
    job = farm.job(walking_job(*many_shots(3)))
    batch = put(farm, job, "s3://night/takes").batch
    store.deny()
    farm.worker()
    done = farm.end(batch)
    assert (done.state, done.counts) == ("failed", {"failed": 3})
    denied = "access is denied; credentials are taken from the environment"
    assert denied in done.error
    errors = [one["row"]["error"] for one in outcomes(farm.farm(), batch)]
    assert all(one.startswith(f"shots[{k}]: s3://") for k, one in enumerate(errors))
    assert all(one.endswith(denied) for one in errors)
    store.allow()
    assert taken(store) == {}
    retry(farm.farm(), batch)
    done = farm.end(batch)
    assert (done.state, done.counts) == ("done", {"solved": 3})
    assert taken(store) == local(farm, job)


def test_time_limit_in_a_farm_whose_records_are_objects_ends_one_shot(
    make_farm: MakeFarm, store: ObjectStore
) -> None:
    farm = farm_on(make_farm, store, TIME_LIMIT_S="6", VISIBILITY_TIMEOUT_S="12")
    farm.faults["hang"] = ["010"]
    farm.worker()
    batch = put(farm, farm.job(walking_job(*many_shots(6))), "s3://night/takes").batch
    # The parent of the children that go on has spoken to the store by then.
    assert farm.end(batch).counts == {"solved": 5, "timed_out": 1}
    again = farm.job(walking_job(*many_shots(8)), "again")
    farm.faults["hang"] = []
    farm.worker()
    done = farm.end(put(farm, again, "s3://night/takes/again").batch)
    assert sum(done.counts.values()) == 8


def test_submission_outside_the_outputs_or_to_no_bucket_is_refused(
    make_farm: MakeFarm, store: ObjectStore
) -> None:
    options = store.options()
    outputs = f"{store.address('takes')}:s3://nobody/x?{options}"
    farm = make_farm(OUTPUTS=outputs)
    job = farm.job(walking_job())
    outside = "lies outside the outputs that the farm may use"
    for out, says in (
        ("s3://night/other", outside),
        ("s3://night/takes2", outside),
        ("s3://night/takes?endpoint_override=elsewhere:80&scheme=http", outside),
        (f"s3://me:{SECRET}@night/takes", "must not hold a user or password"),
        ("s3://nobody/x/y", "s3://nobody: there is no such bucket"),
        ("ftp://night/takes", "must be a folder or start with s3://, gs://, file://"),
    ):
        ended = farm.run("submit", job, "-o", out)
        assert ended.returncode in (1, 2)
        assert says in ended.stderr
        assert SECRET not in ended.stderr + ended.stdout
        assert len(ended.stderr.splitlines()) == 1
    ended = farm.run("submit", job, "--json")
    assert ended.returncode == 0, ended.stderr
    batch = json.loads(ended.stdout)["batch"]
    said = farm.run("status", batch)
    assert said.returncode == 0
