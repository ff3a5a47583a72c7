"""Bad data of one shot through the command line: it fails in words, others do not.

`main` is the console script's own function; one test runs it as a process.
"""

import io
import json
import struct
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.ipc
import pyarrow.parquet as pq
import pytest
from command_line import run, run_apart
from job_files import write_job
from job_tables import a_job
from sound_job import (
    FIRST,
    GOOD,
    LAST,
    assert_lines,
    files_below,
    good_shot,
    on_sticks,
    solve,
    subject_of,
    walk,
    write_table,
)

from carrellata.worker.cli import main


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    write_table(tmp_path / GOOD, walk())
    return tmp_path


def bent(**columns: Any) -> Callable[[Path], None]:
    """Return what writes the walk with columns changed."""
    return lambda path: write_table(path, walk() | columns)


def unsorted(path: Path) -> None:
    columns = walk()
    columns["frame"][[10, 11]] = columns["frame"][[11, 10]]
    write_table(path, columns)


def doubled(path: Path) -> None:
    columns = walk()
    columns["frame"][11:] -= 1
    write_table(path, columns)


def nan_first(path: Path) -> None:
    columns = walk()
    columns["x"][0] = np.nan
    write_table(path, columns)


def popping(path: Path) -> None:
    columns = walk()
    columns["x"][43:] += 170.0
    write_table(path, columns)


def bare_folder(path: Path) -> None:
    path.mkdir()


def many_rows(path: Path) -> None:
    """Write a small Parquet file that unpacks to 24 million rows of zeros."""
    zeros = pa.array(np.zeros(24_000_000))
    table = pa.table(dict.fromkeys(("time_s", "x", "y", "z"), zeros))
    pq.write_table(table, path, compression="zstd", row_group_size=24_000_000)
    assert path.stat().st_size < 1_000_000


def lying_arrow(path: Path) -> None:
    """Write an Arrow file whose compressed buffers claim 2**62 bytes each."""
    sink = io.BytesIO()
    table = pa.table({k: np.asarray(v) for k, v in walk().items()})
    options = pa.ipc.IpcWriteOptions(compression="zstd")
    with pa.ipc.new_file(sink, table.schema, options=options) as writer:
        writer.write_table(table)
    claimed = struct.pack("<q", 8 * len(walk()["frame"]))
    data = sink.getvalue()
    assert claimed in data
    path.write_bytes(data.replace(claimed, struct.pack("<q", 2**62)))


BAD_DATA: dict[str, tuple[str, Callable[[Path], None], tuple[str, ...]]] = {
    "unsorted": ("s.parquet", unsorted, ("frame 1011 comes after 1012",)),
    "doubled": ("s.parquet", doubled, ("frame 1011 is there twice",)),
    "no number at the start": (
        "s.parquet",
        nan_first,
        ("x, y, z is not a number at frame 1001",),
    ),
    "a pop": (
        "s.parquet",
        popping,
        ("moves 42.2 m/s between 1043 and 1044, limit 15 m/s",),
    ),
    "no rows": (
        "s.parquet",
        lambda path: write_table(
            path, {name: values[:0] for name, values in walk().items()}
        ),
        ("has no rows",),
    ),
    "empty file": ("s.parquet", lambda path: path.write_bytes(b""), ("is empty",)),
    "missing file": ("s.parquet", lambda path: None, ("is not a file",)),
    "folder": ("s.parquet", bare_folder, ("is not a file",)),
    "not Parquet": (
        "s.parquet",
        lambda path: path.write_bytes(b"PAR1 nonsense PAR1"),
        ("is not a readable Parquet file",),
    ),
    "not CSV": (
        "s.csv",
        lambda path: path.write_bytes(b"frame,x,y,z\n1001,\xff\n"),
        ("is not a readable CSV table",),
    ),
    "text for numbers": (
        "s.parquet",
        bent(x=["far"] * (LAST - FIRST + 1)),
        ("'x'", "number"),
    ),
    "frames with fractions": (
        "s.parquet",
        bent(frame=walk()["frame"] + 0.5),
        ("'frame'", "whole"),
    ),
    "column missing": (
        "s.parquet",
        lambda path: write_table(
            path, {name: values for name, values in walk().items() if name != "y"}
        ),
        ("'y'",),
    ),
    "too many rows": ("s.parquet", many_rows, ("limit",)),
    "lying Arrow": ("s.arrow", lying_arrow, ("unpacks to", "MB", "limit 512 MB")),
    "BVH that is cut short": (
        "s.bvh",
        lambda path: path.write_text("HIERARCHY\nROOT Hips\n{\n"),
        ("needs the sections",),
    ),
    "BVH without the joint that is named": (
        "s.bvh",
        lambda path: path.write_text(standing_bvh(130).replace("Hips", "Root")),
        ("has no joint 'Hips', only Root",),
    ),
    "BVH whose root stands still": (
        "s.bvh",
        lambda path: path.write_text(standing_bvh(130)),
        ('has a joint "Hips" that does not move',),
    ),
    "BVH that claims more than it has": (
        "s.bvh",
        lambda path: path.write_text(standing_bvh(130, claimed=999_999_999)),
        ("999999999",),
    ),
}


def standing_bvh(n_samples: int, claimed: int | None = None) -> str:
    row = "0 90 0 0 0 0\n"
    return (
        "HIERARCHY\nROOT Hips\n{\n\tOFFSET 0 0 0\n\tCHANNELS 6 Xposition Yposition "
        "Zposition Zrotation Yrotation Xrotation\n\tEnd Site\n\t{\n\t\tOFFSET 0 1 0\n"
        f"\t}}\n}}\nMOTION\nFrames: {claimed or n_samples}\nFrame Time: 0.0416667\n"
        + row
        * n_samples
    )


def job_on(file: str) -> dict[str, Any]:
    """A job whose second shot reads a file, and whose first one is sound."""
    fields: dict[str, Any] = {"file": file}
    if file.endswith(".bvh"):
        fields |= {"units": "cm", "up": "y", "rate": "24"}
        fields |= {"first_sample_at": FIRST, "at": "hips", "joint": "Hips"}
    return a_job(good_shot(), subject_of(**fields) | {"name": "020"})


@pytest.mark.parametrize("case", BAD_DATA)
def test_bad_data_fails_its_shot_and_no_other(
    folder: Path, capsys: pytest.CaptureFixture[str], case: str
) -> None:
    file, write, parts = BAD_DATA[case]
    write(folder / file)
    job = write_job(folder, job_on(file))
    assert solve(folder, job) == 1
    said = capsys.readouterr()
    first, *others = said.out.splitlines()
    assert first.startswith("020  failed  shots[1].subjects[0].file: "), said.out
    for part in (f"'{file}'", *parts):
        assert part in first
    assert len(first) < 300
    assert others[0].startswith("010  solved")
    assert "Traceback" not in said.err
    takes = folder / "out" / "ferry_dash" / "takes"
    assert [path.name for path in takes.iterdir()] == ["010.parquet"]


@pytest.mark.parametrize(
    ("shot", "parts"),
    [
        (good_shot(frames=[2001, 2040]), ("shots[1].frames: ", "2001", "1001-1120")),
        (good_shot(frames=[1, 40]), ("shots[1].frames: ", "1-40", "1001-1120")),
        (
            on_sticks(350, 0, 150),
            ("shots[1].subjects[0]: courier passes ", " m from the lens at frame 1061"),
        ),
        (
            on_sticks(350, 1e300, 150),
            ("shots[1].rig: stands more than 10000 km from the origin",),
        ),
    ],
    ids=["too late", "too early", "through the lens", "far out"],
)
def test_shot_that_its_data_cannot_give_fails_alone(
    folder: Path,
    capsys: pytest.CaptureFixture[str],
    shot: dict[str, Any],
    parts: tuple[str, ...],
) -> None:
    job = write_job(folder, a_job(good_shot(), shot | {"name": "020"}))
    assert main(["check", str(job)]) == 1
    assert_lines(capsys.readouterr().err, *parts)
    assert solve(folder, job) == 1
    first = capsys.readouterr().out.splitlines()[0]
    for part in ("020  failed  ", *parts):
        assert part in first


def test_strict_refuses_all_for_one_bad_shot_and_writes_nothing(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    popping(folder / "s.parquet")
    job = write_job(folder, job_on("s.parquet"))
    before = files_below(folder)
    assert solve(folder, job, "--strict") == 2
    assert_lines(capsys.readouterr().err, "shots[1].subjects[0].file: ", "42.2 m/s")
    assert files_below(folder) == before


def test_output_that_is_a_file_is_a_fault_in_words(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job = write_job(folder, a_job(good_shot()))
    (folder / "out").write_text("not a folder")
    assert solve(folder, job) == 1
    assert_lines(capsys.readouterr().err, "cannot be written")
    assert (folder / "out").read_text() == "not a folder"


@pytest.mark.slow
def test_process_ends_with_the_code_and_the_line(folder: Path) -> None:
    bad = write_job(folder, a_job(good_shot(lens_mm=45)))
    ended = run_apart("solve", bad, "-o", folder / "out")
    assert ended.code == 2
    assert ended.out == ""
    kit = "shots[0].lens_mm: 45 mm is not in the kit (18, 25, 35, 50)\n"
    assert ended.err == kit
    popping(folder / "s.parquet")
    ended = run("check", write_job(folder, job_on("s.parquet")), "--json")
    assert ended.code == 1
    (fault,) = json.loads(ended.out)["faults"]
    assert fault["path"] == "shots[1].subjects[0].file"
    assert "42.2 m/s" in fault["message"]
    ended = run("check", folder / "none.toml")
    assert (ended.code, ended.out) == (2, "")
    assert_lines(ended.err, "none.toml: no such file")
    assert not (folder / "out").exists()


@pytest.mark.parametrize(
    ("shot", "frames"),
    [
        (good_shot(frames=[990, 1120]), ["990-1000"]),
        (good_shot(frames=[1001, 1121]), ["1121"]),
        (good_shot(handles=8), ["993-1000", "1121-1128"]),
    ],
    ids=["starts early", "ends late", "handles"],
)
def test_frames_that_the_data_does_not_reach_are_solved_and_told(
    folder: Path,
    capsys: pytest.CaptureFixture[str],
    shot: dict[str, Any],
    frames: list[str],
) -> None:
    job = write_job(folder, a_job(shot))
    assert main(["check", str(job)]) == 0
    checked = capsys.readouterr().out
    assert main(["solve", str(job), "-o", str(folder / "out"), "--json"]) == 0
    (solved,) = json.loads(capsys.readouterr().out)["shots"]
    told = [one["text"] for one in solved["findings"] if one["name"] == "unseen_frames"]
    assert len(told) == len(frames)
    for text, span in zip(told, frames, strict=True):
        assert f"{span} of 010" in text
        assert f"note: {text}" in checked


def test_a_rig_too_far_for_the_size_is_solved_and_faulted(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job = write_job(folder, a_job(on_sticks(350, 9000, 150, lens_mm=18)))
    assert main(["solve", str(job), "-o", str(folder / "out"), "--json"]) == 0
    (shot,) = json.loads(capsys.readouterr().out)["shots"]
    found = {one["name"]: one["severity"] for one in shot["findings"]}
    assert found["size_out_of_reach"] == "fault"
