"""What the solver is given of a shot: units, axes, names and faults of the data."""

from math import radians
from pathlib import Path

import numpy as np
import pytest
from job_files import write_job
from job_tables import a_job
from sound_job import GOOD, good_shot, walk, write_table

from carrellata.jobs.errors import ShotDataError
from carrellata.jobs.job.load import load_job
from carrellata.jobs.run.shots import Prepared, prepare, seed_of
from carrellata.solver.presets import PRESETS


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    write_table(tmp_path / GOOD, walk())
    return tmp_path


def prepared(folder: Path, **fields: object) -> Prepared:
    path = write_job(folder, a_job(good_shot() | fields))
    job = load_job(path)
    return prepare(job, job.shots[0], path.parent)


def test_limits_of_the_head_are_given_in_degrees(folder: Path) -> None:
    crew = {"preset": "sharp", "operator": {"max_speed": 80, "tolerance": 0.07}}
    operator = prepared(folder, crew=crew).shot.crew.operator
    assert operator.max_speed == pytest.approx(radians(80))
    assert operator.tolerance == 0.07
    assert operator.max_accel == PRESETS["sharp"].operator.max_accel


def test_a_stop_wider_than_a_plain_kit_knows_is_kept(folder: Path) -> None:
    job = a_job(good_shot())
    job["camera"]["stop"] = 1.2
    path = write_job(folder, job)
    loaded = load_job(path)
    assert prepare(loaded, loaded.shots[0], path.parent).shot.stop == 1.2


def test_a_cue_changes_size_from_its_frame_on(folder: Path) -> None:
    shot = prepared(folder).shot
    cue = {"frame": shot.first + 5, "size": "close"}
    after = prepared(folder, cues=[cue]).shot
    assert len(after.framings) == 2
    assert after.framings[0] == shot.framings[0]
    late = after.framings[1]
    assert late.start_s == pytest.approx(float((shot.first + 5) / shot.rate))
    assert late.distance_m < after.framings[0].distance_m
    assert late.aim == pytest.approx(1.0)


def test_shots_of_one_seed_shake_in_their_own_ways(folder: Path) -> None:
    path = write_job(folder, a_job(good_shot()))
    job = load_job(path)
    assert seed_of(job, "010") != seed_of(job, "020")
    assert seed_of(job, "010") == seed_of(load_job(path), "010")


def test_a_named_level_of_shake_needs_a_rate_that_carries_it(folder: Path) -> None:
    job = a_job(good_shot() | {"shake": "rough"})
    job["rate"] = "12"
    path = write_job(folder, job)
    loaded = load_job(path)
    with pytest.raises(ShotDataError) as caught:
        prepare(loaded, loaded.shots[0], path.parent)
    assert "shots[0].shake: rough reaches 8 Hz and needs at least 17.8" in str(
        caught.value
    )


def test_arrays_reach_the_solver_finite_and_read_only(folder: Path) -> None:
    subject = prepared(folder).shot.subjects[0]
    assert np.isfinite(subject.floor).all()
    assert np.ptp(subject.floor, axis=0).max() > 0.1
    assert not subject.floor.flags.writeable


def with_ghost(**fields: object) -> dict[str, object]:
    ghost = {"name": "ghost", "file": "ghost.parquet", "at": "floor", "height_m": 1.8}
    return {"subjects": [{**good_shot()["subjects"][0], "share": 1.0}, ghost | fields]}


def test_who_is_never_seen_and_never_framed_is_left_out(folder: Path) -> None:
    columns = walk()
    hidden = columns | {"visible": np.zeros(len(columns["frame"]), dtype=bool)}
    write_table(folder / "ghost.parquet", hidden)
    with_both = prepared(folder, **with_ghost(share=0.0))
    assert [one.name for one in with_both.shot.subjects] == ["courier"]
    assert set(with_both.inputs) == {"courier"}


@pytest.mark.parametrize("how", ["share", "cue"])
def test_who_is_framed_and_never_seen_fails_the_shot_by_name(
    folder: Path, how: str
) -> None:
    columns = walk()
    hidden = columns | {"visible": np.zeros(len(columns["frame"]), dtype=bool)}
    write_table(folder / "ghost.parquet", hidden)
    fields = with_ghost(share=1.0 if how == "share" else 0.0)
    if how == "cue":
        fields["cues"] = [{"frame": 1050, "subject": "ghost"}]
    with pytest.raises(ShotDataError) as caught:
        prepared(folder, **fields)
    (fault,) = caught.value.faults
    assert fault.path == "shots[0].subjects[1]"
    assert "ghost is seen in no frame of" in fault.message


def test_frames_that_a_table_does_not_reach_are_told(folder: Path) -> None:
    write_table(folder / GOOD, walk(1003, 1115))
    found = prepared(folder)
    first, last = found.spec.solved_frames
    assert found.uncovered == {"courier": ((first, 1002), (1116, last))}
    assert not found.shot.subjects[0].visible[:2].any()


def bearing(folder: Path, x: float, **fields: object) -> float:
    """The asked bearing [rad] from track at one side of a walk along X, Z up."""
    rig = {"kind": "track", "from": [0, x, 150], "to": [500, x, 150], "hold": "view"}
    asked = {"rig": rig, "view": "profile"} | fields
    return prepared(folder, **asked).shot.view_rad


def test_a_side_that_is_named_counts_and_else_the_side_of_the_rig(folder: Path) -> None:
    # A walk along +X, Z up: +Y is on its left.
    for at in (-700.0, 700.0):
        assert bearing(folder, at, side="left") == pytest.approx(radians(90))
        assert bearing(folder, at, side="right") == pytest.approx(radians(-90))
    assert bearing(folder, 700.0) == pytest.approx(radians(90))
    assert bearing(folder, -700.0) == pytest.approx(radians(-90))
    assert bearing(folder, -700.0, view=45) == pytest.approx(radians(-45))
