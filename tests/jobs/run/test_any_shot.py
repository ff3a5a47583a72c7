"""Whatever a shot does, it fails alone, with its reason, and harms no other."""

import math
from pathlib import Path
from typing import Any

import pytest
from odd_shots import odd_shots
from walks import files_below, save_job, walking_job, walking_shot

from carrellata.jobs.run import phases
from carrellata.jobs.run.check import check_job
from carrellata.jobs.run.local import Outcome, solve_job
from carrellata.jobs.takes.sequence_table import ShotRow


def spoilt(name: str, **samples: Any) -> dict[str, Any]:
    shot = walking_shot(name)
    given = shot["subjects"][0]["samples"]
    shot["subjects"][0]["samples"] = given | samples
    return shot


def never_seen(name: str) -> dict[str, Any]:
    return spoilt(name, visible=[False] * 84)


def short_rail(name: str) -> dict[str, Any]:
    rail = {"kind": "track", "from": [0, 0, 150], "to": [0.05, 0, 150]}
    return walking_shot(name, rig=rail)


def by_shot(outcome: Outcome) -> dict[str, ShotRow]:
    return {row.shot: row for row in outcome.rows}


@pytest.mark.parametrize("bad", [never_seen, short_rail])
def test_what_the_solver_refuses_fails_its_shot_alone(tmp_path: Path, bad: Any) -> None:
    tables = walking_job(bad("010"), walking_shot("020"))
    job = save_job(tmp_path, tables)
    faults = check_job(job).faults
    rows = by_shot(solve_job(job, tmp_path / "out", workers=1))
    assert [fault.path.split(".")[0] for fault in faults] == ["shots[0]"]
    assert rows["010"].status == "failed"
    assert rows["010"].error == str(faults[0])
    assert rows["020"].status == "solved"


def test_one_who_is_never_seen_and_not_followed_ends_no_run(tmp_path: Path) -> None:
    shot = walking_shot("010")
    unseen = never_seen("010")["subjects"][0] | {"name": "other", "share": 0.0}
    shot["subjects"] = [*shot["subjects"], unseen]
    job = save_job(tmp_path, walking_job(shot, walking_shot("020")))
    rows = by_shot(solve_job(job, tmp_path / "out", workers=1))
    assert (rows["010"].status, rows["020"].status) == ("solved", "solved")


def test_a_fault_of_the_program_fails_its_shot_and_says_what_it_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    solve_shot = phases.solve_shot

    def faulty(work: Any, spec: Any, chosen: Any = None) -> ShotRow:
        if spec.name == "010":
            raise ZeroDivisionError(math.inf)
        return solve_shot(work, spec, chosen)

    monkeypatch.setattr(phases, "solve_shot", faulty)
    job = save_job(tmp_path, walking_job())
    rows = by_shot(solve_job(job, tmp_path / "out", workers=1))
    assert rows["010"].error == (
        "shots[0]: stopped by ZeroDivisionError (inf); this is a fault of the "
        "program, please report it"
    )
    assert rows["020"].status == "solved"


def test_a_letter_goes_on_without_a_shot_whose_data_is_bad(tmp_path: Path) -> None:
    given = {"setup": "A", "rig": {"kind": "choose", "kinds": ["sticks"]}}
    bad = never_seen("010") | given
    job = save_job(tmp_path, walking_job(bad, walking_shot("020", **given)))
    rows = by_shot(solve_job(job, tmp_path / "out", workers=1))
    assert (rows["010"].status, rows["020"].status) == ("failed", "solved")


@pytest.mark.slow
@pytest.mark.parametrize("seed", [1, 2])
def test_every_shot_of_any_job_is_as_it_is_alone(tmp_path: Path, seed: int) -> None:
    compare_with_alone(tmp_path, odd_shots(20, seed, n_open=1))


@pytest.mark.long
def test_every_shot_of_a_thousand_is_as_it_is_alone(tmp_path: Path) -> None:
    compare_with_alone(tmp_path, odd_shots(1000, 3, n_open=20))


def compare_with_alone(folder: Path, shots: list[dict[str, Any]]) -> None:
    """Every broken shot fails by its name; every other has the bytes it has alone."""
    (folder / "empty.csv").touch()
    together = solve_job(
        save_job(folder, walking_job(*shots)), folder / "all", workers=1
    )
    rows = by_shot(together)
    assert set(rows) == {shot["name"] for shot in shots}
    failed = 0
    for place, shot in enumerate(shots):
        name = shot["name"]
        alone = solve_job(
            save_job(folder, walking_job(shot)), folder / "alone" / name, workers=1
        )
        (row,) = alone.rows
        assert (row.status, row.take_key) == (rows[name].status, rows[name].take_key)
        takes = files_below(folder / "alone" / name / "chase" / "takes")
        if row.take_key is None:
            failed += 1
            assert takes == {}
            error = rows[name].error or ""
            assert "fault of the program" not in error, error
            own = f"shots[{place}]" if row.status == "failed" else "no setup"
            assert all(line.startswith(own) for line in error.splitlines()), error
            assert error.replace(f"shots[{place}]", "shots[0]") == row.error
        else:
            kept = folder / "all" / "chase" / "takes" / f"{name}.parquet"
            assert takes == {f"{name}.parquet": kept.read_bytes()}
    print(f"{failed} of {len(shots)} failed")
    assert 0 < failed < len(shots)
