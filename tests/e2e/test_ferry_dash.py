"""The example sequence, through the command line, into an empty folder."""

import json
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pytest
from command_line import Ended, run, run_apart
from job_files import Columns, columns_of, rows_of

from carrellata.jobs.examples.ferry_dash.make import FOLDER
from carrellata.jobs.examples.ferry_dash.pictures import pictures_of
from carrellata.jobs.takes.metadata import take_metadata
from carrellata.jobs.takes.take_file import read_take

JOB = FOLDER / "job.toml"
NAMES = [f"{10 * k:03d}" for k in range(1, 13)]
# Open air: she outruns the dolly, and the shot is about that.
OUTRUN = "090"
HELD = 0.97


class Solved(NamedTuple):
    """The first run over everything, and where it wrote."""

    ended: Ended
    out: Path
    shots: dict[str, dict[str, Any]]


PICTURES = Path(__file__).resolve().parents[2] / "deploy" / "pictures"


@pytest.fixture(scope="module")
def solved(tmp_path_factory: pytest.TempPathFactory) -> Solved:
    out = tmp_path_factory.mktemp("ferry")
    ended = run_apart("solve", JOB, "-o", out, "--json")
    listed = json.loads(ended.out)["shots"]
    return Solved(ended, out, {shot["shot"]: shot for shot in listed})


def take_columns(out: Path, name: str) -> Columns:
    return columns_of(read_take(out / "ferry_dash" / "takes" / f"{name}.parquet"))


def number(value: float | None, form: str) -> str:
    return "-" if value is None else format(value, form)


@pytest.mark.slow
def test_all_twelve_shots_are_solved(solved: Solved) -> None:
    print("\nshot  in frame   drift  pan decisions/s   lag s  dolly m  status")
    for name, shot in solved.shots.items():
        print(
            f"{name}   {number(shot['in_frame'], '8.3f')}  "
            f"{number(shot['drift_max'], '6.2f')}  "
            f"{number(shot['pan_decisions_per_s'], '15.2f')}  "
            f"{number(shot['onset_lag_s'], '6.2f'):>6s}  "
            f"{number(shot['dolly_m'], '7.2f')}  {shot['status']}"
        )
    assert solved.ended.code == 0
    assert solved.ended.err == ""
    assert list(solved.shots) == NAMES
    assert {shot["status"] for shot in solved.shots.values()} == {"solved"}
    takes = solved.out / "ferry_dash" / "takes"
    assert sorted(path.stem for path in takes.iterdir()) == NAMES


@pytest.mark.slow
@pytest.mark.parametrize("name", [name for name in NAMES if name != OUTRUN])
def test_shot_is_held(solved: Solved, name: str) -> None:
    assert solved.shots[name]["in_frame"] >= HELD
    columns = take_columns(solved.out, name)
    seen = ~columns["handle"] & ~np.isnan(columns["subject_u"])
    assert seen.sum() > 50
    assert columns["in_frame"][seen].mean() == solved.shots[name]["in_frame"]


@pytest.mark.slow
def test_outrun_dolly_is_at_its_limit(solved: Solved) -> None:
    columns = take_columns(solved.out, OUTRUN)
    metadata = take_metadata(
        read_take(solved.out / "ferry_dash" / "takes" / f"{OUTRUN}.parquet")
    )
    limit = metadata.crew.grip["max_speed"]
    assert columns["rail_speed"].max() == pytest.approx(limit, rel=1e-3)


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_handles_surround_the_cut(solved: Solved, name: str) -> None:
    columns = take_columns(solved.out, name)
    assert columns["handle"].sum() in (16, 32)  # two samples a frame in one shot
    inside = columns["frame"][~columns["handle"]]
    assert columns["frame"].min() == inside.min() - 8
    assert columns["frame"].max() == inside.max() + 8


@pytest.mark.slow
def test_table_of_the_sequence_says_what_the_takes_say(solved: Solved) -> None:
    rows = rows_of(solved.out / "ferry_dash" / "sequence.parquet")
    assert list(rows) == NAMES
    for name, row in rows.items():
        path = solved.out / "ferry_dash" / "takes" / f"{name}.parquet"
        metadata = take_metadata(read_take(path))
        assert row["take_key"] == metadata.keys.take
        assert row["in_frame"] == metadata.measures["in_frame"]


@pytest.mark.slow
def test_second_run_keeps_every_take_as_it_lies(solved: Solved) -> None:
    takes = solved.out / "ferry_dash" / "takes"
    before = {
        path: (path.stat().st_mtime_ns, path.read_bytes()) for path in takes.iterdir()
    }
    ended = run("solve", JOB, "-o", solved.out, "--json")
    assert ended.code == 0
    again = json.loads(ended.out)["shots"]
    assert {shot["status"] for shot in again} == {"kept"}
    for shot in again:
        first = solved.shots[shot["shot"]]
        assert shot | {"status": "solved"} == first
    after = {
        path: (path.stat().st_mtime_ns, path.read_bytes()) for path in takes.iterdir()
    }
    assert before == after


@pytest.mark.slow
def test_chosen_shots_are_solved_to_the_same_bytes(
    solved: Solved, tmp_path: Path
) -> None:
    ended = run("solve", JOB, "-o", tmp_path, "--shots", "010,020", "--workers", "1")
    assert ended.code == 0
    assert "2 solved, 0 kept, 0 failed" in ended.out
    takes = tmp_path / "ferry_dash" / "takes"
    assert sorted(path.stem for path in takes.iterdir()) == ["010", "020"]
    for path in takes.iterdir():
        other = solved.out / "ferry_dash" / "takes" / path.name
        assert path.read_bytes() == other.read_bytes()
    assert list(rows_of(tmp_path / "ferry_dash" / "sequence.parquet")) == ["010", "020"]


@pytest.mark.slow
def test_check_counts_shots_and_frames() -> None:
    ended = run("check", JOB)
    assert (ended.code, ended.err) == (0, "")
    assert ended.out.splitlines()[-1].startswith("ferry_dash: 12 shots, ")


def test_the_pictures_of_the_readme_are_of_this_solve(solved: Solved) -> None:
    drawn = dict(pictures_of("job.toml", solved.out / "ferry_dash"))
    assert drawn
    for name, words in drawn.items():
        kept = (PICTURES / f"{name}.svg").read_bytes()
        assert len(kept) < 60_000
        assert words.encode() == kept, f"{name}.svg: see DEVELOPERS.md"
