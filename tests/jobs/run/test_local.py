"""Solving on one machine: the same bytes however the work is cut up."""

import os
import signal
from pathlib import Path

import pytest
from walks import (
    faulty_shot,
    files_below,
    many_shots,
    save_job,
    save_walk,
    walking_job,
    walking_shot,
)

from carrellata.jobs.errors import CancelledError, JobError
from carrellata.jobs.job.load import load_job
from carrellata.jobs.job.shot import ShotSpec
from carrellata.jobs.job.spec import JobFile
from carrellata.jobs.processes.pool import n_processors
from carrellata.jobs.run import solve_shot
from carrellata.jobs.run.asked import choose_shots
from carrellata.jobs.run.check import check_job
from carrellata.jobs.run.local import solve_job, workers_for
from carrellata.jobs.takes.continuity import CutEntry, entry_of
from carrellata.jobs.takes.metadata import take_metadata
from carrellata.jobs.takes.sequence_table import (
    MEASURES,
    SEQUENCE_FIELDS,
    ShotRow,
    read_sequence,
)
from carrellata.jobs.takes.take_file import read_take


def takes_below(out: Path) -> dict[str, bytes]:
    """Return the takes of the sequence below an output folder."""
    return files_below(out / "chase/takes")


def statuses(rows: tuple[ShotRow, ...] | list[ShotRow]) -> dict[str, str]:
    return {row.shot: row.status for row in rows}


@pytest.mark.slow
def test_takes_are_the_same_bytes_however_they_are_solved(tmp_path: Path) -> None:
    job = save_job(tmp_path, walking_job(*many_shots(5)))
    solve_job(job, tmp_path / "one", workers=1)
    solve_job(job, tmp_path / "pool", workers=2)
    for k in (2, 1, 3):
        solve_job(job, tmp_path / "shards", shard=(k, 3), workers=1)
    for name in ("020", "000", "040", "010", "030"):
        solve_job(job, tmp_path / "alone", shots=[name], workers=1)
    expected = takes_below(tmp_path / "one")
    assert len(expected) == 5
    assert len(set(expected.values())) == 5
    for way in ("pool", "shards", "alone"):
        assert takes_below(tmp_path / way) == expected
        # The table of the sequence too, once all its shots are in.
        assert files_below(tmp_path / way) == files_below(tmp_path / "one")


def test_a_shot_alone_in_its_job_has_the_same_take(tmp_path: Path) -> None:
    pair = save_job(tmp_path / "a", walking_job())
    single = save_job(tmp_path / "b", walking_job(walking_shot("020", speed=4.0)))
    solve_job(pair, tmp_path / "a", workers=1)
    solve_job(single, tmp_path / "b", workers=1)
    one, two = takes_below(tmp_path / "a"), takes_below(tmp_path / "b")
    assert one["020.parquet"] == two["020.parquet"]


def test_neighbours_and_words_change_no_byte_of_a_take(tmp_path: Path) -> None:
    before = save_job(tmp_path, walking_job())
    solve_job(before, tmp_path / "a", workers=1)
    after = walking_job(
        walking_shot("010", purpose="new words", setup="B", scene="hall"),
        walking_shot("015", cut="elapsed"),
        walking_shot("020", speed=4.5),
    )
    solve_job(save_job(tmp_path, after), tmp_path / "b", workers=1)
    one, two = takes_below(tmp_path / "a"), takes_below(tmp_path / "b")
    assert one["010.parquet"] == two["010.parquet"]
    assert one["020.parquet"] != two["020.parquet"]


def test_what_is_unchanged_is_left_alone(tmp_path: Path) -> None:
    job = save_job(tmp_path, walking_job())
    first = solve_job(job, tmp_path, workers=1)
    assert statuses(first.rows) == {"010": "solved", "020": "solved"}
    stamps = {p: p.stat().st_mtime_ns for p in (tmp_path / "chase/takes").iterdir()}
    save_job(
        tmp_path,
        walking_job(
            walking_shot("010", purpose="words"), walking_shot("020", lens_mm=35)
        ),
    )
    second = solve_job(job, tmp_path, workers=1)
    assert statuses(second.rows) == {"010": "kept", "020": "solved"}
    assert second.rows[0].measures == first.rows[0].measures
    assert second.rows[0].purpose == "words"
    now = {p: p.stat().st_mtime_ns for p in (tmp_path / "chase/takes").iterdir()}
    assert {p.stem for p in now if now[p] == stamps[p]} == {"010"}


def test_going_back_restores_the_earlier_take(tmp_path: Path) -> None:
    job = save_job(tmp_path, walking_job(walking_shot("010")))
    solve_job(job, tmp_path, workers=1)
    before = takes_below(tmp_path)
    save_job(tmp_path, walking_job(walking_shot("010", lens_mm=35)))
    solve_job(job, tmp_path, workers=1)
    assert takes_below(tmp_path) != before
    save_job(tmp_path, walking_job(walking_shot("010")))
    assert statuses(solve_job(job, tmp_path, workers=1).rows) == {"010": "kept"}
    assert takes_below(tmp_path) == before


@pytest.mark.parametrize("length", [0, 10, 3000])
def test_damaged_take_is_solved_again_to_the_same_bytes(
    tmp_path: Path, length: int
) -> None:
    job = save_job(tmp_path, walking_job())
    solve_job(job, tmp_path, workers=1)
    before = takes_below(tmp_path)
    path = tmp_path / "chase/takes/020.parquet"
    path.write_bytes(path.read_bytes()[:length])
    again = solve_job(job, tmp_path, workers=1)
    assert statuses(again.rows) == {"010": "kept", "020": "solved"}
    assert takes_below(tmp_path) == before


def test_faulty_shot_is_recorded_and_the_others_are_solved(tmp_path: Path) -> None:
    tables = walking_job(
        walking_shot("010"), faulty_shot("020"), walking_shot("030", lens_mm=35)
    )
    outcome = solve_job(save_job(tmp_path, tables), tmp_path / "out", workers=1)
    assert statuses(outcome.rows) == {"010": "solved", "020": "failed", "030": "solved"}
    assert [row.shot for row in outcome.failed] == ["020"]
    row = read_sequence(tmp_path / "out/chase/sequence.parquet")[1]
    assert row == outcome.failed[0]
    assert row.error == "shots[1].subjects[0].file: 'no.csv' is not a file"
    assert row.take_key is None
    assert row.measures == {}
    assert set(takes_below(tmp_path / "out")) == {"010.parquet", "030.parquet"}


def test_shot_that_fails_tonight_leaves_its_earlier_take(tmp_path: Path) -> None:
    subject = {"name": "runner", "file": "w.parquet", "at": "floor", "height_m": 1.7}
    job = save_job(tmp_path, walking_job(walking_shot("010", subjects=[subject])))
    save_walk(tmp_path / "w.parquet")
    solve_job(job, tmp_path, workers=1)
    before = takes_below(tmp_path)
    (tmp_path / "w.parquet").unlink()
    assert statuses(solve_job(job, tmp_path, workers=1).rows) == {"010": "failed"}
    assert takes_below(tmp_path) == before
    save_walk(tmp_path / "w.parquet")
    assert statuses(solve_job(job, tmp_path, workers=1).rows) == {"010": "kept"}


@pytest.mark.parametrize("workers", [1, pytest.param(2, marks=pytest.mark.slow)])
def test_strict_refuses_every_shot_before_anything_is_written(
    tmp_path: Path, workers: int
) -> None:
    tables = walking_job(
        *many_shots(9), *(faulty_shot(name) for name in ("900", "910", "920"))
    )
    with pytest.raises(JobError) as caught:
        solve_job(
            save_job(tmp_path, tables),
            tmp_path / "out",
            strict=True,
            workers=workers,
        )
    paths = [fault.path for fault in caught.value.faults]
    assert paths == [f"shots[{k}].subjects[0].file" for k in (9, 10, 11)]
    assert not (tmp_path / "out").exists()


def test_refused_job_writes_nothing(tmp_path: Path) -> None:
    job = save_job(tmp_path, walking_job(walking_shot("010"), walking_shot("010")))
    with pytest.raises(JobError, match="010"):
        solve_job(job, tmp_path / "out", workers=1)
    assert not (tmp_path / "out").exists()


def test_sequence_has_its_fields_and_the_order_of_the_job(tmp_path: Path) -> None:
    job = save_job(tmp_path, walking_job(*many_shots(4)))
    for shots in (["030"], ["000", "020"], ["010"]):
        solve_job(job, tmp_path, shots=shots, workers=1)
    rows = read_sequence(tmp_path / "chase/sequence.parquet")
    assert [row.shot for row in rows] == ["000", "010", "020", "030"]
    assert all(row.crew == "brisk" for row in rows)
    take = read_take(tmp_path / "chase/takes/010.parquet")
    metadata = take_metadata(take)
    in_a_set = {"rig_step_m": None}  # told of takes that have one
    assert rows[1].measures == {**metadata.measures, **in_a_set}
    assert rows[1].take_key == metadata.keys.take
    # A measure that is missing from the table's fields would be lost in it.
    assert set(metadata.measures) | set(in_a_set) == set(MEASURES)
    assert SEQUENCE_FIELDS.field("frames").type == "int64"


def test_shot_that_left_the_job_leaves_the_sequence(tmp_path: Path) -> None:
    job = save_job(tmp_path, walking_job())
    solve_job(job, tmp_path, workers=1)
    save_job(tmp_path, walking_job(walking_shot("020", speed=4.0)))
    solve_job(job, tmp_path, workers=1)
    rows = read_sequence(tmp_path / "chase/sequence.parquet")
    assert statuses(rows) == {"020": "kept"}


def test_damaged_sequence_is_written_anew(tmp_path: Path) -> None:
    job = save_job(tmp_path, walking_job())
    solve_job(job, tmp_path, workers=1)
    path = tmp_path / "chase/sequence.parquet"
    path.write_bytes(path.read_bytes()[:100])
    solve_job(job, tmp_path, workers=1)
    assert statuses(read_sequence(path)) == {"010": "kept", "020": "kept"}


def test_leftover_of_a_killed_run_is_removed(tmp_path: Path) -> None:
    job = save_job(tmp_path, walking_job(walking_shot("010")))
    left = tmp_path / "out/chase/takes/.010.parquet.0123456789ab.part"
    left.parent.mkdir(parents=True)
    left.write_bytes(b"half a take")
    solve_job(job, tmp_path / "out", workers=1)
    assert set(takes_below(tmp_path / "out")) == {"010.parquet"}


def test_interrupt_keeps_what_was_done(tmp_path: Path) -> None:
    job = save_job(tmp_path, walking_job(*many_shots(4)))

    def interrupt(row: ShotRow, total: int) -> None:
        assert total == 4
        if row.shot == "010":
            raise KeyboardInterrupt

    with pytest.raises(CancelledError, match="2 of 4 shots done"):
        solve_job(job, tmp_path, workers=1, progress=interrupt)
    rows = read_sequence(tmp_path / "chase/sequence.parquet")
    assert statuses(rows) == {"000": "solved", "010": "solved"}
    rest = solve_job(job, tmp_path, workers=1)
    assert list(statuses(rest.rows).values()) == ["kept", "kept", "solved", "solved"]


def test_interrupt_that_a_library_turns_into_an_error_fails_no_shot(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = save_job(tmp_path, walking_job(*many_shots(3)))

    def entry(job: JobFile, spec: ShotSpec) -> CutEntry:
        if spec.name == "010":
            try:
                os.kill(os.getpid(), signal.SIGINT)
            except KeyboardInterrupt as error:
                message = "what a library makes of it"
                raise ValueError(message) from error
        return entry_of(job, spec)

    monkeypatch.setattr(solve_shot, "entry_of", entry)
    # A shell may have started this process with interrupts ignored.
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        with pytest.raises(CancelledError, match="1 of 3 shots done"):
            solve_job(job, tmp_path, workers=1)
    finally:
        signal.signal(signal.SIGINT, before)
    rows = read_sequence(tmp_path / "chase/sequence.parquet")
    assert statuses(rows) == {"000": "solved"}


def test_shots_are_chosen_in_the_order_of_the_job(tmp_path: Path) -> None:
    job = load_job(save_job(tmp_path, walking_job(*many_shots(5))))
    assert [s.name for s in choose_shots(job, shots=["030", "000"])] == ["000", "030"]
    parts = [choose_shots(job, shard=(k, 3)) for k in (1, 2, 3)]
    names = [[spec.name for spec in part] for part in parts]
    assert names == [["000", "030"], ["010", "040"], ["020"]]
    assert choose_shots(job, shard=(6, 6)) == ()


def test_unknown_shot_is_refused_with_those_that_exist(tmp_path: Path) -> None:
    job = load_job(save_job(tmp_path, walking_job()))
    with pytest.raises(JobError) as caught:
        choose_shots(job, shots=["010", "30", "x"])
    assert str(caught.value) == (
        '--shots: "30" is not a shot (010, 020)\n--shots: "x" is not a shot (010, 020)'
    )


@pytest.mark.parametrize("shard", [(0, 2), (3, 2), (1, 0)])
def test_shard_that_does_not_exist_is_refused(
    tmp_path: Path, shard: tuple[int, int]
) -> None:
    job = load_job(save_job(tmp_path, walking_job()))
    with pytest.raises(JobError, match=f"got {shard[0]}/{shard[1]}"):
        choose_shots(job, shard=shard)


def test_empty_shard_is_solved_at_once(tmp_path: Path) -> None:
    job = save_job(tmp_path, walking_job())
    assert solve_job(job, tmp_path, shard=(5, 9)).rows == ()


def test_pool_is_only_started_for_work_that_is_worth_it(tmp_path: Path) -> None:
    few = load_job(save_job(tmp_path, walking_job())).shots
    assert workers_for(few) == 1
    many = workers_for(few * 200)
    assert many > n_processors() if n_processors() > 1 else many == 1


def test_check_names_the_faults_of_every_shot(tmp_path: Path) -> None:
    tables = walking_job(faulty_shot("010"), walking_shot("020"), faulty_shot("030"))
    job, faults, *_ = check_job(save_job(tmp_path, tables))
    assert job.sequence == "chase"
    assert [fault.path[:8] for fault in faults] == ["shots[0]", "shots[2]"]
    assert set(files_below(tmp_path)) == {"job.json"}
