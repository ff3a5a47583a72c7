"""Habits of a sequence: shares of lenses and sizes, and weights of cuts."""

from typing import Any

import pytest
from job_tables import a_job

from carrellata.jobs.errors import JobError
from carrellata.jobs.job.parse import parse_job


def test_without_habits_nothing_is_asked_of_lens_use() -> None:
    habits = parse_job(a_job()).habits
    assert (habits.lens_use, habits.size_use, habits.variety) == ({}, {}, 0)
    assert set(habits.cut_weights.model_dump().values()) == {None}


def test_habits_are_read_and_written_back() -> None:
    tables = {
        "lens_use": {"35": 0.4, "50": 0.6, "18.5": 0},
        "size_use": {"full": 0.2, "medium": 0.8},
        "variety": 0.5,
        "cut_weights": {"crosses_line": 12, "matched_reverse": 0},
    }
    job = parse_job(a_job(habits=tables))
    assert job.habits.lens_use["50"] == 0.6
    assert job.habits.size_use["medium"] == 0.8
    assert job.habits.cut_weights.crosses_line == 12
    assert job.habits.cut_weights.eye_jump is None
    assert parse_job(job.model_dump(mode="json", by_alias=True)) == job


@pytest.mark.parametrize(
    ("habits", "line"),
    [
        (
            {"lens_use": {"wide": 1}},
            "lens_use: must be named by focal lengths in mm, g",
        ),
        (
            {"lens_use": {"0": 1}},
            'lens_use: must be named by focal lengths in mm, got "',
        ),
        ({"lens_use": {"35": 1.2}}, "lens_use.35: must be <= 1, got 1.2"),
        ({"size_use": {"closeup": 1}}, 'size_use.closeup: must be one of "full", "kne'),
        ({"variety": -1}, "variety: must be >= 0, got -1"),
        (
            {"cut_weights": {"cross_line": 1}},
            'cut_weights.cross_line: unknown field; did you mean "crosses_line"',
        ),
        ({"lensuse": {}}, 'lensuse: unknown field; did you mean "lens_use"'),
    ],
)
def test_a_fault_of_habits_is_one_sentence(habits: dict[str, Any], line: str) -> None:
    with pytest.raises(JobError) as caught:
        parse_job(a_job(habits=habits))
    assert str(caught.value).startswith(f"habits.{line}")
    assert len(caught.value.faults) == 1


def test_a_habit_of_a_lens_that_no_shot_has_is_refused() -> None:
    with pytest.raises(JobError) as caught:
        parse_job(a_job(habits={"lens_use": {"45": 0.5, "18.5": 0}}))
    (fault,) = caught.value.faults
    assert fault.path == "habits.lens_use.45"
    assert fault.message.startswith("45 mm is in no shot's kit (")
