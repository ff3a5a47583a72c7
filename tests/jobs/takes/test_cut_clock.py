"""A sequence's table says how its frames are counted in the cut."""

import pytest
from walks import faulty_shot, save_job, walking_job, walking_shot

from carrellata.jobs.run.local import solve_job
from carrellata.jobs.takes.sequence_table import CutClock, read_table


def test_frames_are_counted_over_every_shot_even_one_that_failed(tmp_path) -> None:
    shots = (walking_shot("010"), faulty_shot("020"), walking_shot("030"))
    job = save_job(tmp_path, walking_job(*shots, timecode="01:00:00:00"))
    solve_job(job, tmp_path / "out", workers=1)
    clock = read_table(tmp_path / "out/chase/sequence.parquet").clock
    assert clock.timecode == "01:00:00:00"
    assert list(clock.frames) == ["010", "020", "030"]
    # 24 frames each, 1001 to 1024.
    assert clock.record("010", 1001) == 0
    assert clock.record("030", 1001) == 48
    assert clock.record("030", 997) == 44
    assert clock.record("040", 1001) is None


@pytest.mark.parametrize("shot", ["a", "b"])
def test_a_shots_frames_begin_where_those_before_it_end(shot) -> None:
    clock = CutClock(timecode=None, frames={"a": (5, 9), "b": (-3, 0)})
    assert clock.record(shot, clock.frames[shot][0]) == {"a": 0, "b": 5}[shot]
