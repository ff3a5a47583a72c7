"""One take at once: solved once, in its own pool, whatever waits in the other."""

import json
import time
from typing import Any

import pytest
from farms import TestFarm, until
from walks import many_shots, walking_job, walking_shot

from carrellata.jobs.job.parse import parse_job
from carrellata.jobs.run.local import solve_job
from carrellata.worker.farm.interactive import ask_take, find_answer, wait_answer

WAIT_S = 60.0


def ask(farm: TestFarm, request: str, job: dict[str, Any]) -> dict[str, Any]:
    client = farm.farm()
    where = farm.folder / "now"
    ask_take(client, request, job=parse_job(job), folder=farm.folder, out=where)
    answer = wait_answer(client, request, WAIT_S)
    assert answer is not None
    return answer


def one_shot(speed: float, n_frames: int = 24) -> dict[str, Any]:
    shot = walking_shot("010", speed=speed, frames=[1001, 1000 + n_frames])
    frames = range(980, 1040 + n_frames)
    shot["subjects"][0]["samples"] = {
        "frame": list(frames),
        "x": [100.0 + speed * (f - 1001) for f in frames],
        "y": [400.0 for _ in frames],
        "z": [0.0 for _ in frames],
    }
    return walking_job(shot)


@pytest.mark.slow
def test_take_asked_for_is_the_local_one_and_solved_once(farm: TestFarm) -> None:
    worker = farm.worker(pool="interactive", processes=1)
    first = ask(farm, "0123456789abcdef", one_shot(5.0))
    assert first["row"]["status"] == "solved"
    again = ask(farm, "0123456789abcdef", one_shot(5.0))
    assert again == first
    assert len(worker.said("take done")) == 1
    solve_job(farm.job(one_shot(5.0)), farm.folder / "local", workers=1)
    name = "chase/takes/010.parquet"
    assert farm.takes("now")[name] == farm.takes("local")[name]

    # Faulty data is an answer too; so is an open setup.
    bad = one_shot(5.0)
    bad["shots"][0]["subjects"][0]["samples"]["x"][30] = 1e6
    row = ask(farm, "ff23456789abcdef", bad)["row"]
    assert row["status"] == "failed"
    assert "moves" in row["error"]
    chosen = one_shot(5.0)
    chosen["shots"][0]["lens_mm"] = "choose"
    row = ask(farm, "ee23456789abcdef", chosen)["row"]
    assert row["status"] == "solved"
    assert row["why"] is not None
    assert find_answer(farm.farm(), "aa23456789abcdef") is None


def latencies_under_load(farm: TestFarm, n_batch: int, n_asked: int) -> list[float]:
    farm.worker(pool="interactive", processes=1)
    farm.worker(processes=1)
    shots = [walking_shot(f"b{k:05d}", speed=2 + 1e-4 * k) for k in range(n_batch)]
    batch = farm.submit(farm.job(walking_job(*shots))).batch
    until(lambda: len(farm.started()) >= 3)
    client, times = farm.farm(), []
    for k in range(n_asked + 3):
        job = parse_job(one_shot(4.0 + 0.01 * k, 120))
        start = time.perf_counter()
        name = f"{k:08x}"
        ask_take(client, name, job=job, folder=farm.folder, out=farm.folder / "now")
        answer = wait_answer(client, name, WAIT_S)
        times.append(1e3 * (time.perf_counter() - start))
        assert answer is not None
        assert answer["row"]["status"] == "solved"
    with farm.server.client() as redis:
        left = redis.llen("batch")
    assert left > 0, f"batch {batch} was done before the last take was asked for"
    times = sorted(times[3:])
    print(f"p50 {times[len(times) // 2]:.1f} ms, p95 {times[-len(times) // 20]:.1f} ms")
    return times


@pytest.mark.slow
def test_take_does_not_wait_for_a_batch(farm: TestFarm) -> None:
    farm.faults["slow_s"] = 0.05
    times = latencies_under_load(farm, 600, 20)
    # In the batch's own queue it would be half a minute; the bound is a lenient one.
    assert times[len(times) // 2] < 2000


@pytest.mark.long
def test_take_does_not_wait_for_a_whole_night(farm: TestFarm) -> None:
    farm.faults["slow_s"] = 0.05
    times = latencies_under_load(farm, 5000, 100)
    assert times[len(times) // 2] < 2000


@pytest.mark.slow
def test_poisonous_take_is_answered_for(farm: TestFarm) -> None:
    farm.worker(pool="interactive", processes=1)
    with farm.server.client() as redis:
        redis.set("carrellata:take:0123456789abcdef:tries", 3)
    row = ask(farm, "0123456789abcdef", one_shot(5.0))["row"]
    assert row["status"] == "failed"
    assert row["error"] == "shots[0]: quarantined: its process was lost"
    assert many_shots(1)


@pytest.mark.slow
def test_submit_now_solves_one_shot_and_waits(farm: TestFarm) -> None:
    job = farm.job(walking_job(walking_shot("010"), walking_shot("020", speed=3.0)))
    words = ("submit", job, "-o", farm.folder / "now", "--now")
    none = farm.run(*words, "--shots", "010", "--timeout", "0.3")
    assert none.returncode == 3
    assert "no worker of the interactive pool answered in 0.3 s" in none.stderr
    both = farm.run(*words)
    assert both.returncode == 2
    assert "--now: solves one shot; name it with --shots, got 2" in both.stderr
    unknown = farm.run(*words, "--shots", "030")
    assert unknown.returncode == 2
    assert '"030" is not a shot (010, 020)' in unknown.stderr

    worker = farm.worker(pool="interactive", processes=1)
    done = farm.run(*words, "--shots", "020")
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("020  solved")
    name = "chase/takes/020.parquet"
    solve_job(job, farm.folder / "local", workers=1)
    made = farm.takes("now")[name]
    assert made == farm.takes("local")[name]
    again = json.loads(farm.run(*words, "--shots", "020", "--json").stdout)
    assert [row["status"] for row in again["shots"]] == ["solved"]
    solved = len(worker.said("take done"))
    # A take that somebody has removed is made again.
    (farm.folder / "now" / name).unlink()
    for kept in (farm.folder / "now/chase/history/020").iterdir():
        kept.unlink()
    assert farm.run(*words, "--shots", "020").returncode == 0
    assert farm.takes("now")[name] == made
    assert len(worker.said("take done")) == solved + 1
