"""A long night, against the same work in the local pool; figures are printed."""

import time
from collections.abc import Callable
from datetime import datetime

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from farms import TestFarm
from walks import walk, walking_job, walking_shot

from carrellata.jobs.run.local import solve_job


def soak(make_farm: Callable[..., TestFarm], n_shots: int) -> float:
    """Run shots on the farm and locally; return the farm's time over the local one."""
    # The local pool does not give way to others, so the farm must not either.
    farm = make_farm(
        BATCH_NICE="0",
        TIME_LIMIT_S="60",
        VISIBILITY_TIMEOUT_S="120",
        SWEEP_INTERVAL_S="30",
    )
    farm.folder.joinpath("in").mkdir()
    for k in range(20):
        table = pa.table(walk(speed=3.0 + 0.1 * k))
        pq.write_table(table, farm.folder / f"in/walk{k}.parquet")
    shots = []
    for k in range(n_shots):
        file = f"walk{k % 20}.parquet"
        subject = {"name": "runner", "file": file, "at": "floor", "height_m": 1.7}
        shots.append(walking_shot(f"s{k:05d}", subjects=[subject], roll_deg=k * 1e-3))
    job = farm.job(walking_job(*shots))
    worker = farm.sound_worker()
    farm.sweeper()
    start = time.monotonic()
    batch = farm.submit(job).batch
    with farm.server.client() as client:
        queued_mb = client.info("memory")["used_memory"] / 1e6
        done = farm.end(batch, seconds=3600)
        farm_s = time.monotonic() - start
        left_mb = client.info("memory")["used_memory"] / 1e6
    assert done.counts == {"solved": n_shots}
    worker.stop()
    stamps = [datetime.fromisoformat(line["time"]) for line in worker.said("shot done")]
    taken_s = (max(stamps) - min(stamps)).total_seconds()
    rows: list[float] = []
    start = time.monotonic()
    solve_job(
        job,
        farm.folder / "local",
        workers=2,
        progress=lambda row, total: rows.append(time.monotonic()),
    )
    local_s, local_taken_s = time.monotonic() - start, rows[-1] - rows[0]
    assert farm.takes() == farm.takes("local")
    print(
        f"{n_shots} shots: farm {n_shots / farm_s:.0f} shots/s, local pool "
        f"{n_shots / local_s:.0f} shots/s, ratio of times {farm_s / local_s:.2f}, of "
        f"the takes alone, without start and review, {taken_s / local_taken_s:.2f}; "
        f"Redis {queued_mb:.1f} MB when queued, {left_mb:.1f} MB when done"
    )
    return farm_s / local_s


@pytest.mark.slow
def test_farm_and_local_pool_write_the_same(
    make_farm: Callable[..., TestFarm],
) -> None:
    assert soak(make_farm, 150) > 0


@pytest.mark.long
def test_long_night_on_the_farm_and_in_the_local_pool(
    make_farm: Callable[..., TestFarm],
) -> None:
    assert soak(make_farm, 3000) > 0
