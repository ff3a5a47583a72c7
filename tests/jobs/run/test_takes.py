"""Takes of one shot: the crew varies, the setup does not, and one of them is used."""

import json
from pathlib import Path

import numpy as np
import pytest
from walks import save_job, walking_job, walking_shot

from carrellata.jobs.errors import JobError
from carrellata.jobs.job.load import load_job
from carrellata.jobs.review.write import write_review
from carrellata.jobs.run.check import check_job
from carrellata.jobs.run.local import solve_job
from carrellata.jobs.takes.made_takes import MadeTake, best_of
from carrellata.jobs.takes.metadata import take_metadata
from carrellata.jobs.takes.sequence_table import keys_side_by_side, read_sequence
from carrellata.jobs.takes.store import Store
from carrellata.jobs.takes.take_file import read_take


def solved(folder: Path, shot, **fields):
    job = save_job(folder, walking_job(shot, **fields))
    return solve_job(job, folder, workers=1).rows[0]


def pan(folder: Path, key: str):
    store = Store(folder=folder / "chase")
    return store.whole("010", key)["pan_deg"].to_numpy()


def test_three_takes_differ_and_the_best_is_the_current_one(tmp_path):
    row = solved(tmp_path, walking_shot("010", takes=3))
    takes = json.loads(row.takes)
    assert [one["take"] for one in takes] == [1, 2, 3]
    pans = [pan(tmp_path, one["take_key"]) for one in takes]
    for one, two in ((0, 1), (0, 2), (1, 2)):
        assert 1e-3 < np.abs(pans[one] - pans[two]).max() < 10.0
    (best,) = (one for one in takes if one["best"])
    assert best["current"]
    assert row.take_key == best["take_key"]
    current = take_metadata(read_take(tmp_path / "chase/takes/010.parquet"))
    assert current.keys.take == best["take_key"]
    assert current.asked.take == best["take"]
    # Nothing is solved again, and nothing of them is thrown away.
    again = solve_job(tmp_path / "job.json", tmp_path, workers=1).rows[0]
    assert again.status == "kept"
    assert again.takes == row.takes
    store = Store(folder=tmp_path / "chase")
    assert store.prune(keys_side_by_side(store.sequence)) == ()


def test_a_take_alone_has_the_bytes_that_it_has_beside_others(tmp_path):
    many = solved(tmp_path / "many", walking_shot("010", takes=2))
    alone = solved(tmp_path / "alone", walking_shot("010", take=2))
    two = json.loads(many.takes)[1]
    assert alone.take_key == two["take_key"]
    kept = Store(folder=tmp_path / "many/chase").kept("010", two["take_key"])
    assert (tmp_path / "alone/chase/takes/010.parquet").read_bytes() == (
        kept.read_bytes()
    )
    assert json.loads(alone.takes) == []


def test_the_take_that_is_named_is_used_though_another_is_best(tmp_path):
    rows = json.loads(solved(tmp_path, walking_shot("010", takes=3)).takes)
    other = next(one for one in rows if not one["best"])
    row = solved(tmp_path, walking_shot("010", takes=3, take=other["take"]))
    assert row.take_key == other["take_key"]
    assert row.status == "kept"


def test_a_lock_picks_one_of_them(tmp_path):
    rows = json.loads(solved(tmp_path, walking_shot("010", takes=2)).takes)
    other = next(one for one in rows if not one["best"])
    row = solved(tmp_path, walking_shot("010", takes=2, lock=other["take_key"]))
    assert row.status == "locked"
    assert row.take_key == other["take_key"]


def test_the_page_shows_them_side_by_side(tmp_path):
    rows = json.loads(solved(tmp_path, walking_shot("010", takes=2)).takes)
    write_review(tmp_path / "chase")
    text = (tmp_path / "chase/review/010.html").read_text("utf-8")
    for one in rows:
        assert f'lock = "{one["take_key"]}"' in text
    assert "(best, current)" in text
    assert "drift rms, half frames" in text


def test_takes_of_a_crew_that_does_not_vary_are_refused(tmp_path):
    crew = {"preset": "brisk", "variability": 0}
    job = save_job(tmp_path, walking_job(walking_shot("010", takes=2), crew=crew))
    with pytest.raises(JobError, match=r"takes need a crew that varies") as refused:
        check_job(job)
    (fault,) = refused.value.faults
    assert fault.path == "shots[0].takes"


def test_a_crew_that_does_not_vary_makes_the_same_take_twice(tmp_path):
    crew = {"preset": "brisk", "variability": 0}
    one = solved(tmp_path / "a", walking_shot("010"), crew=crew)
    two = solved(tmp_path / "b", walking_shot("010", take=2), crew=crew)
    assert one.take_key != two.take_key
    pans = pan(tmp_path / "a", one.take_key), pan(tmp_path / "b", two.take_key)
    assert np.array_equal(*pans)


def test_best_is_by_claims_then_head_then_drift():
    def take(number, told, head, drift):
        measures = {"head_in_frame": head, "drift_rms": drift}
        return MadeTake(take=number, take_key="", told=told, measures=measures)

    a, b, c = take(1, 1, 1.0, 0.1), take(2, 2, 0.9, 0.3), take(3, 2, 0.95, 0.5)
    assert best_of([a, b, c]) is c
    assert best_of([a, take(2, 1, 1.0, 0.05)]).take == 2
    assert best_of([a, take(2, 1, 0.9999, 0.05)]).take == 2
    assert best_of([take(2, 1, None, None), take(1, 1, None, None)]).take == 1


def test_a_row_of_a_shot_without_takes_has_none(tmp_path):
    solved(tmp_path, walking_shot("010"))
    (row,) = read_sequence(tmp_path / "chase/sequence.parquet")
    assert row.takes == "[]"
    assert load_job(tmp_path / "job.json").shots[0].take_numbers == (1,)
