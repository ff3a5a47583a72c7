"""Jobs that leave the size of a framing open: chosen with the setup, and told."""

import json
from pathlib import Path
from typing import Any

import pytest
from job_tables import a_job, a_shot
from walks import save_job, walking_job, walking_shot

from carrellata.jobs.errors import JobError
from carrellata.jobs.job.framing import CHOOSABLE
from carrellata.jobs.job.parse import parse_job
from carrellata.jobs.job.setup import SetupSpec
from carrellata.jobs.job.shot import ShotSpec
from carrellata.jobs.run.local import Outcome, solve_job
from carrellata.jobs.takes.metadata import take_metadata
from carrellata.jobs.takes.store import Store
from carrellata.jobs.takes.take_file import read_take

OPEN: dict[str, Any] = {
    "rig": {"kind": "choose", "kinds": ["sticks"]},
    "lens_mm": "choose",
    "framing": {"size": ["medium", "full"]},
}


def shot_of(**fields: Any) -> ShotSpec:
    return parse_job(a_job(a_shot(**fields))).shots[0]


def solve(folder: Path, *shots: dict[str, Any], **fields: Any) -> Outcome:
    path = save_job(folder, walking_job(*shots, **fields))
    return solve_job(path, folder / "out", workers=1)


@pytest.mark.parametrize(
    ("size", "sizes"),
    [("medium", ()), (["medium", "chest"], ("medium", "chest")), ("choose", CHOOSABLE)],
)
def test_a_size_is_one_or_several_to_choose_from(size: Any, sizes: Any) -> None:
    shot = shot_of(framing={"size": size})
    assert shot.framing.open_sizes == sizes
    assert shot.is_open is bool(sizes)
    assert ("size" in shot.open_fields) is bool(sizes)
    again = ShotSpec.model_validate(shot.model_dump(mode="json", by_alias=True))
    assert again == shot
    closed = shot.with_setup(
        SetupSpec(rig=shot.fixed_rig, lens_mm=shot.fixed_lens_mm, size="chest")
    )
    assert closed.framing.size == ("chest" if sizes else size)
    assert not closed.is_open


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"framing": {"size": ["medium"]}}, "two and more different ones"),
        ({"framing": {"size": ["medium", "medium"]}}, "two and more different ones"),
        ({"framing": {"size": ["medium", "closeup"]}}, "must be one of"),
        ({"framing": {"size": "choose"}, "setup": "A"}, "is left to choose, and shots"),
    ],
)
def test_sizes_that_cannot_be_chosen_from_are_refused(
    fields: dict[str, Any], words: str
) -> None:
    with pytest.raises(JobError, match=words):
        shot_of(**fields)


@pytest.mark.parametrize("habit", ["full", "medium"])
def test_the_size_is_chosen_by_habits_and_stands_in_take_and_row(
    tmp_path: Path, habit: str
) -> None:
    shots = [walking_shot("010", **OPEN), walking_shot("020", **OPEN)]
    habits = {"size_use": {habit: 1.0}, "variety": 50.0}
    outcome = solve(tmp_path, *shots, habits=habits)
    assert [row.status for row in outcome.rows] == ["solved", "solved"]
    for row in outcome.rows:
        metadata = take_metadata(read_take(Store(folder=outcome.folder).take(row.shot)))
        assert json.loads(row.setup)["size"] == habit
        assert metadata.setup.size == metadata.asked.framing["size"] == habit
    again = solve(tmp_path, *shots, habits=habits)
    assert [row.status for row in again.rows] == ["kept", "kept"]


def test_a_fixed_rig_may_leave_lens_and_size_open(tmp_path: Path) -> None:
    framing = {"size": ["medium", "cowboy", "full"]}
    shot = walking_shot("010", speed=1.0, lens_mm="choose", framing=framing)
    (row,) = solve(tmp_path, shot).rows
    assert row.status == "solved", row.error
    assert json.loads(row.setup)["size"] in framing["size"]
