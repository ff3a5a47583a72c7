"""Children, workers and shots that die: nothing is lost, and nothing runs for ever."""

import json
import os
import signal
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from farms import TestFarm, children_of, until
from walks import many_shots, walking_job, walking_shot

from carrellata.jobs.run.local import solve_job
from carrellata.jobs.takes.sequence_table import read_sequence
from carrellata.worker.farm.farm import cancel, status
from carrellata.worker.farm.submission import retry

pytestmark = pytest.mark.slow


def rows_of(farm: TestFarm, out: str = "out") -> dict[str, tuple[str, str | None]]:
    rows = read_sequence(farm.folder / out / "chase/sequence.parquet")
    return {row.shot: (row.status, row.error) for row in rows}


def starts_of(farm: TestFarm, shot: str) -> list[float]:
    return [line["at"] for line in farm.started() if line["shot"] == shot]


def test_batch_writes_the_same_bytes_as_a_local_run(farm: TestFarm) -> None:
    job = farm.job(walking_job(*many_shots(40)))
    farm.worker()
    done = farm.end(farm.submit(job).batch)
    assert (done.state, done.counts) == ("done", {"solved": 40})
    solve_job(job, farm.folder / "local", workers=1)
    expected = farm.takes("local")
    assert len([name for name in expected if "/takes/" in name]) == 40
    assert "chase/review/index.html" in expected
    assert farm.takes() == expected
    # Forty small shots went in fewer messages.
    assert farm.is_empty()
    assert len(farm.started()) == 40


def test_killed_child_has_its_shot_restarted_without_a_time_out(
    make_farm: Callable[..., TestFarm],
) -> None:
    farm = make_farm(TIME_LIMIT_S="300", VISIBILITY_TIMEOUT_S="3600")
    farm.faults["slow_s"] = 1.0
    worker = farm.worker()
    batch = farm.submit(farm.job(walking_job(*many_shots(1)))).batch
    first = until(farm.started)[0]
    os.kill(first["pid"], signal.SIGKILL)
    until(lambda: starts_of(farm, first["shot"])[1:])
    assert farm.end(batch).counts == {"solved": 1}
    assert worker.alive


def test_killed_worker_has_its_shots_given_to_another(farm: TestFarm) -> None:
    farm.faults["slow_s"] = 3.0
    worker = farm.worker()
    batch = farm.submit(farm.job(walking_job(*many_shots(2)))).batch
    until(lambda: len(farm.started()) == 2)
    children = children_of(worker.pid)
    assert children
    worker.kill()
    # Children do not outlive their worker.
    until(lambda: not any(Path(f"/proc/{pid}").exists() for pid in children))
    farm.faults["slow_s"] = 0.0
    farm.worker()
    # By the visibility time-out: no sweeper looks for silent workers here.
    until(lambda: len(farm.started()) >= 4)
    assert farm.end(batch).counts == {"solved": 2}


def test_poison_shot_is_quarantined_at_the_fourth_delivery(farm: TestFarm) -> None:
    farm.faults["poison"] = ["020"]
    worker = farm.worker()
    job = farm.job(walking_job(*many_shots(20)))
    batch = farm.submit(job).batch
    done = farm.end(batch)
    assert (done.state, done.counts) == ("done", {"quarantined": 1, "solved": 19})
    assert len(starts_of(farm, "020")) == 3
    rows = rows_of(farm)
    assert rows["020"][0] == "failed"
    assert rows["020"][1] is not None
    assert rows["020"][1].startswith("shots[2]: quarantined: its process was lost 3")
    assert sum(status == "solved" for status, _ in rows.values()) == 19
    assert worker.alive

    # Once what killed it is repaired, only that shot is done again.
    worker.stop()
    farm.faults["poison"] = []
    farm.worker()
    before = len(farm.started())
    assert retry(farm.farm(), batch).n_shots == 1
    done = until(lambda: (s := status(farm.farm(), batch)).closed and s)
    assert done.counts == {"solved": 20}
    assert [line["shot"] for line in farm.started()[before:]] == ["020"]
    assert rows_of(farm)["020"] == ("solved", None)


def test_shot_over_the_time_limit_is_stopped_and_named(
    make_farm: Callable[..., TestFarm],
) -> None:
    farm = make_farm(TIME_LIMIT_S="3", VISIBILITY_TIMEOUT_S="8")
    farm.faults["hang"] = ["010"]
    worker = farm.worker()
    batch = farm.submit(farm.job(walking_job(*many_shots(4)))).batch
    done = farm.end(batch)
    assert (done.state, done.counts) == ("done", {"solved": 3, "timed_out": 1})
    assert len(starts_of(farm, "010")) == 1
    error = rows_of(farm)["010"][1]
    assert error == "shots[1]: took longer than 3 s and was stopped"
    assert worker.alive


def test_bundle_that_takes_too_long_condemns_none_of_its_shots(
    make_farm: Callable[..., TestFarm],
) -> None:
    farm = make_farm(TIME_LIMIT_S="3", VISIBILITY_TIMEOUT_S="8")
    farm.faults["slow_s"] = 0.7
    farm.worker()
    batch = farm.submit(farm.job(walking_job(*many_shots(64)))).batch
    with farm.server.client() as client:
        assert client.llen("batch") < 64 / 3  # four a message, 2.8 s and more
    assert farm.end(batch).counts == {"solved": 64}


def test_crash_between_last_shot_and_join_joins_by_the_sweeper(farm: TestFarm) -> None:
    armed = farm.folder / "armed"
    armed.touch()
    farm.faults["crash_before_join"] = str(armed)
    farm.worker(processes=1)
    batch = farm.submit(farm.job(walking_job(*many_shots(3)))).batch
    until(lambda: not armed.exists())
    farm.sweeper()
    assert farm.end(batch, seconds=60).counts == {"solved": 3}
    assert len(rows_of(farm)) == 3


def test_cancel_stops_soon_and_leaves_whole_takes(farm: TestFarm) -> None:
    farm.faults["slow_s"] = 0.3
    farm.worker()
    job = farm.job(walking_job(*many_shots(60)))
    batch = farm.submit(job).batch
    until(lambda: len(farm.started()) >= 6)
    asked = time.time()
    cancel(farm.farm(), batch)
    done = farm.end(batch)
    assert done.state == "cancelled"
    until(farm.is_empty)
    last = max(line["at"] for line in farm.started())
    assert last - asked < 2.0
    assert len(farm.started()) < 60
    takes = {k for k in farm.takes() if k.startswith("chase/takes/")}
    until(lambda: len(rows_of(farm)) == len(takes))
    solve_job(job, farm.folder / "local", workers=1)
    whole = farm.takes("local")
    assert takes
    assert all(farm.takes()[name] == whole[name] for name in takes)


def test_same_job_submitted_twice_is_solved_once(farm: TestFarm) -> None:
    farm.faults["slow_s"] = 0.2
    job = farm.job(walking_job(*many_shots(6)))
    first, second = farm.submit(job), farm.submit(job)
    assert (first.is_new, second.is_new) == (True, False)
    assert first.batch == second.batch
    farm.worker()
    assert farm.end(first.batch).counts == {"solved": 6}
    third = farm.submit(job)
    assert third.batch != first.batch
    assert farm.end(third.batch).counts == {"kept": 6}
    done = {f for f in farm.takes() if f.startswith("chase/history/")}
    assert len(done) == 6


def test_stopped_worker_gives_its_shots_back_and_ends(farm: TestFarm) -> None:
    farm.faults["slow_s"] = 0.5
    worker = farm.worker()
    batch = farm.submit(farm.job(walking_job(*many_shots(12)))).batch
    until(lambda: len(farm.started()) >= 4)
    worker.process.terminate()
    assert worker.process.wait(60) == 0
    in_hand = {line["shot"] for line in farm.started()}
    farm.worker()
    assert farm.end(batch).counts == {"solved": 12}
    # What was in hand ended there; nothing waited for a time-out, or ran twice.
    assert len(farm.started()) == 12
    assert len(in_hand) < 12


def test_take_that_cannot_be_written_fails_its_shot_and_no_other(
    farm: TestFarm,
) -> None:
    farm.worker()
    blocked = farm.folder / "out/chase/history/010"
    blocked.parent.mkdir(parents=True)
    blocked.write_text("in the way")
    batch = farm.submit(farm.job(walking_job(*many_shots(3)))).batch
    assert farm.end(batch).counts == {"failed": 1, "solved": 2}
    error = rows_of(farm)["010"][1]
    assert error is not None
    assert error.startswith("shots[1]: cannot be written: ")
    blocked.unlink()
    ended = farm.run("retry", batch, "--wait")
    assert ended.returncode == 0, ended.stderr
    assert "3 solved" in ended.stdout
    assert rows_of(farm)["010"] == ("solved", None)


def test_commands_end_with_the_codes_they_promise(farm: TestFarm) -> None:
    farm.faults |= {"poison": ["010"], "slow_s": 0.2}
    farm.worker()
    job = farm.job(walking_job(*many_shots(3)))
    ended = farm.run("submit", job, "-o", farm.folder / "out", "--wait")
    assert ended.returncode == 1
    assert "quarantined" in ended.stdout
    night = farm.job(walking_job(*many_shots(60), sequence="night"), "night")
    ended = farm.run("submit", night, "-o", farm.folder / "out", "--json")
    assert ended.returncode == 0
    batch = json.loads(ended.stdout)["batch"]
    assert farm.run("cancel", batch).returncode == 0
    assert farm.run("watch", batch).returncode == 4
    said = json.loads(farm.run("status", batch, "--json").stdout)["batches"][0]
    assert said["state"] == "cancelled"
    unknown = farm.run("status", "0" * 16)
    assert unknown.returncode == 2
    assert unknown.stderr == f"batch {'0' * 16}: is not known\n"
    outside = farm.run("submit", job, "-o", "/elsewhere")
    assert outside.returncode == 2
    assert "lies outside the folders that the farm may use" in outside.stderr


def covered_walk(cut: dict[str, object] | str) -> dict[str, object]:
    """Return an action of one who walks, of two cameras, one of them open."""
    (subject,) = walking_shot("-")["subjects"]
    near = {"kind": "sticks", "at": [170, -100, 150]}
    rail = {"kind": "track", "from": [0, 0, 150], "to": [500, 0, 150]}
    cameras = [
        {"name": "wide", "rig": near, "lens_mm": 25},
        {"name": "close", "size": "medium", "rig": rail, "lens_mm": "choose"},
    ]
    return {
        "name": "walk",
        "frames": [1001, 1024],
        "subjects": [subject],
        "cameras": cameras,
        "cut": cut,
    }


def test_open_setups_and_actions_are_chosen_and_cut_on_the_farm(
    make_farm: Callable[..., TestFarm],
) -> None:
    farm = make_farm(TIME_LIMIT_S="60", VISIBILITY_TIMEOUT_S="120")
    open_shot = walking_shot("030", lens_mm="choose")
    shots = walking_shot("010"), open_shot
    cut = {"shortest_s": 0.2, "first": "wide", "median_s": 0.4, "varied": 0}
    job = farm.job(walking_job(*shots, actions=[covered_walk(cut)]))
    farm.worker()
    done = farm.end(farm.submit(job).batch)
    assert done.counts == {"solved": 4}
    solve_job(job, farm.folder / "local", workers=1)
    assert farm.takes() == farm.takes("local")
    assert "chase/candidates/030.json" in farm.takes()
    chosen = json.loads(farm.takes()["chase/actions/walk.json"])
    assert len(chosen["pictures"]) > 1
    # The same cut, given: it is read below the farm's roots, as it was submitted.
    given = cut | {"file": "cut.otio"}
    again = farm.job(walking_job(*shots, actions=[covered_walk(given)]), "given")
    (again.parent / "cut.otio").write_bytes(farm.takes()["chase/actions/walk.otio"])
    ended = farm.end(farm.submit(again, "judged").batch)
    assert ended.counts == {"solved": 4}
    judged = json.loads(farm.takes("judged")["chase/actions/walk.json"])
    assert (judged["given"], judged["points"]) == ("cut.otio", chosen["points"])
    solve_job(again, farm.folder / "local_judged", workers=1)
    assert farm.takes("judged") == farm.takes("local_judged")
