"""Bad input through the command line: exit code, one line of text, nothing written.

Most cases run `main` in this process, which is the console script's own function; a
few run as processes of their own.
"""

import copy
import io
import json
import re
import struct
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.ipc
import pyarrow.parquet as pq
import pytest
from job_files import run, write_job
from job_tables import a_job, a_shot

from carrellata.jobs.spec_shot import MAX_FRAMES
from carrellata.worker.cli import main

GOOD = "good.parquet"
FIRST, LAST = 1001, 1120


def walk(first: int = FIRST, last: int = LAST) -> dict[str, Any]:
    """A walk along X at 1.4 m/s, in centimetres, Z up, a row a frame."""
    frames = np.arange(first, last + 1)
    x = 140.0 * (frames - FIRST) / 24.0
    return {"frame": frames, "x": x, "y": 0.0 * x, "z": 0.0 * x}


def write_table(path: Path, columns: dict[str, Any]) -> None:
    pq.write_table(pa.table(columns), path)


def good_shot(**fields: Any) -> dict[str, Any]:
    subject = {"name": "courier", "file": GOOD, "at": "floor", "height_m": 1.72}
    rig = {"kind": "track", "from": [0, -700, 150], "to": [500, -700, 150]}
    rig["hold"] = "abreast"
    return a_shot(subjects=[subject], rig=rig, lens_mm=35) | fields


def subject_of(**fields: Any) -> dict[str, Any]:
    """A shot whose only subject has these fields."""
    shot = good_shot()
    shot["subjects"] = [shot["subjects"][0] | fields]
    return shot


def without(shot: dict[str, Any], name: str) -> dict[str, Any]:
    shot = copy.deepcopy(shot)
    del shot["subjects"][0][name]
    return shot


def on_sticks(*at: float, **fields: Any) -> dict[str, Any]:
    return good_shot(rig={"kind": "sticks", "at": list(at)}, **fields)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    write_table(tmp_path / GOOD, walk())
    return tmp_path


def files_below(folder: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def solve(folder: Path, job: Path, *words: str) -> int:
    return main(
        ["solve", str(job), "-o", str(folder / "out"), "--workers", "1", *words]
    )


def assert_lines(text: str, *parts: str) -> None:
    """One line, no traceback, with a path and every part."""
    lines = text.strip().splitlines()
    assert len(lines) == 1, text
    for part in parts:
        assert part in lines[0], text
    assert len(lines[0]) < 300


BAD_JOBS: dict[str, tuple[dict[str, Any], tuple[str, ...]]] = {
    "lens outside the kit": (
        a_job(good_shot(lens_mm=45)),
        ("shots[0].lens_mm: 45 mm is not in the kit (18, 25, 35, 50)",),
    ),
    "rate as a decimal number": (
        a_job(good_shot(), rate=23.976),
        ("rate: ", "23.976", '"24000/1001"'),
    ),
    "rate as a decimal text": (
        a_job(good_shot(), rate="29.97"),
        ("rate: ", "29.97", '"30000/1001"'),
    ),
    "unknown field": (
        a_job(good_shot(lense_mm=35)),
        ("shots[0].lense_mm: ", "lens_mm"),
    ),
    "unknown field of a subject": (
        a_job(subject_of(heigth_m=1.7)),
        ("shots[0].subjects[0].heigth_m: ", "height_m"),
    ),
    "unknown field of the job": (a_job(good_shot(), sed=7), ("sed: ", "seed")),
    "missing at": (
        a_job(without(good_shot(), "at")),
        ("shots[0].subjects[0].at: ", "required"),
    ),
    "name that is a path": (
        a_job(good_shot(name="../../etc")),
        ("shots[0].name: ", "../../etc"),
    ),
    "sequence that is a path": (
        a_job(good_shot(), sequence="/tmp/elsewhere"),
        ("sequence: ", "/tmp/elsewhere"),
    ),
    "names that differ in case only": (
        a_job(good_shot(name="ab"), good_shot(name="AB")),
        ("shots[1].name: ", "AB", "shots[0]"),
    ),
    "subjects of one name": (
        a_job(good_shot(subjects=[good_shot()["subjects"][0]] * 2)),
        ("shots[0].subjects[1].name: ", "courier"),
    ),
    "frames backwards": (
        a_job(good_shot(frames=[1120, 1001])),
        ("shots[0].frames: ", "1120", "1001"),
    ),
    "ten million frames": (
        a_job(good_shot(frames=[1, 10_000_000])),
        ("shots[0].frames: ", str(MAX_FRAMES), "10000000"),
    ),
    "number too large": (
        a_job(good_shot(frames=[1001, 10**30])),
        ("shots[0].frames[1]: ",),
    ),
    "text in place of a number": (
        a_job(good_shot(lens_mm="35")),
        ("shots[0].lens_mm: ", "35"),
    ),
    "BVH without units": (
        a_job(
            subject_of(
                file="a.bvh", joint="Hips", up="y", rate="120", first_sample_at=FIRST
            )
        ),
        ("shots[0].subjects[0].units: is required for a BVH file",),
    ),
    "BVH without a joint": (
        a_job(
            subject_of(
                file="a.bvh", units="cm", up="y", rate="120", first_sample_at=FIRST
            )
        ),
        ("shots[0].subjects[0].joint: is required for a BVH file",),
    ),
    "track without length": (
        a_job(
            good_shot(rig={"kind": "track", "from": [0, 0, 1], "to": [0, 0, 1]}),
        ),
        ("shots[0].rig",),
    ),
    "stage is for later": (
        a_job(good_shot(), defaults={"framing": {"size": "full"}, "stage": {}}),
        ("defaults.stage: ", "not available in this version"),
    ),
    "lens to choose is for later": (
        a_job(good_shot(lens_mm="choose")),
        ("shots[0].lens_mm: ", "not available in this version"),
    ),
    "rig to choose is for later": (
        a_job(good_shot(rig={"kind": "choose"})),
        ("shots[0].rig: ", "not available in this version"),
    ),
    "lock is for later": (
        a_job(good_shot(lock="0" * 64)),
        ("shots[0].lock: ", "not available in this version"),
    ),
    "subject from a stage file is for later": (
        a_job(subject_of(file="a.usda")),
        ("shots[0].subjects[0].file: ", "not available in this version"),
    ),
    "no shots": (a_job(good_shot()) | {"shots": []}, ("shots: ", "at least one")),
    "wrong schema": (
        a_job(good_shot(), schema="carrellata.job/9"),
        ("schema: ", "carrellata.job/9"),
    ),
}


@pytest.mark.parametrize("case", BAD_JOBS)
@pytest.mark.parametrize("command", ["check", "solve"])
def test_bad_job_is_refused_in_words_and_nothing_is_written(
    folder: Path, capsys: pytest.CaptureFixture[str], case: str, command: str
) -> None:
    job, parts = BAD_JOBS[case]
    path = write_job(folder, job)
    before = files_below(folder)
    code = main(["check", str(path)]) if command == "check" else solve(folder, path)
    said = capsys.readouterr()
    assert code == 2
    assert said.out == ""
    for part in parts:
        assert part in said.err
    for line in said.err.splitlines():
        assert re.match(r"[a-z]+(\[[0-9]+\])?(\.[a-z_]+(\[[0-9]+\])?)*: \S", line)
        assert len(line) < 300
    assert files_below(folder) == before
    assert not (folder / "out").exists()


def test_every_fault_of_a_job_is_named_at_once(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job = a_job(
        good_shot(lens_mm=45, frames=[9, 1]),
        good_shot(name="020", lense_mm=1),
        good_shot(name="020"),
        rate=25.0,
    )
    assert main(["check", str(write_job(folder, job)), "--json"]) == 2
    faults = json.loads(capsys.readouterr().out)["faults"]
    assert {fault["path"] for fault in faults} == {
        "rate",
        "shots[0].frames",
        "shots[0].lens_mm",
        "shots[1].lense_mm",
        "shots[2].name",
    }


NOT_JOBS: dict[str, tuple[str, bytes | None, str]] = {
    "missing": ("job.toml", None, "no such file"),
    "empty": ("job.toml", b" \n", "is empty"),
    "of another kind": ("job.yaml", b"a: 1", 'must end in ".toml" or ".json"'),
    "not UTF-8": ("job.toml", b'a = "\xff"', "is not UTF-8"),
    "broken TOML": ("job.toml", b"a = 1\nb = @\n", "line 2"),
    "broken JSON": ("job.json", b'{"a": }', "line 1"),
    "a list": ("job.json", b"[]", "must be a table"),
    "nested without end": ("job.json", b"[" * 200_000, "nested"),
    "a field twice": ("job.json", b'{"a": 1, "a": 2}', "twice"),
}


@pytest.mark.parametrize("case", NOT_JOBS)
def test_file_that_is_no_job_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], case: str
) -> None:
    name, content, part = NOT_JOBS[case]
    if content is not None:
        (tmp_path / name).write_bytes(content)
    assert solve(tmp_path, tmp_path / name) == 2
    assert_lines(capsys.readouterr().err, name, part)
    assert not (tmp_path / "out").exists()


def test_folder_in_place_of_a_job_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "job.toml").mkdir()
    assert solve(tmp_path, tmp_path / "job.toml") == 2
    assert_lines(capsys.readouterr().err, "is a folder")


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
    """Write 1.2 kB of Parquet that unpack to 24 million rows of zeros."""
    table = pa.table(
        {name: pa.array(np.zeros(24_000_000)) for name in ("time_s", "x", "y", "z")}
    )
    pq.write_table(table, path, compression="zstd", row_group_size=24_000_000)


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
        (good_shot(frames=[990, 1120]), ("shots[1].frames: ", "990", "1001-1120")),
        (good_shot(frames=[1001, 1121]), ("shots[1].frames: ", "1121", "1001-1120")),
        (good_shot(handles=8), ("shots[1].frames: ", "993", "1001-1120")),
        (
            on_sticks(350, 0, 150),
            ("shots[1].subjects[0]: courier passes ", " m from the lens at frame 1061"),
        ),
        (
            on_sticks(350, 9000, 150, lens_mm=18),
            ("shots[1].framing: the size needs ", " m with a 18 mm lens"),
        ),
    ],
    ids=["starts early", "ends late", "handles", "through the lens", "size"],
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


@pytest.mark.parametrize(
    ("words", "part"),
    [
        (["--shots", "030"], '"030" is not a shot (010)'),
        (["--shard", "3/2"], "--shard: must be k/n"),
        (["--shard", "half"], "--shard: must be K/N"),
        (["--workers", "0"], "--workers"),
        (["--worker", "1"], "--worker"),
    ],
)
def test_wrong_usage_ends_with_two(
    folder: Path, capsys: pytest.CaptureFixture[str], words: list[str], part: str
) -> None:
    job = write_job(folder, a_job(good_shot()))
    assert main(["solve", str(job), "-o", str(folder / "out"), *words]) == 2
    assert part in capsys.readouterr().err
    assert not (folder / "out").exists()


@pytest.mark.slow
def test_process_ends_with_the_code_and_the_line(folder: Path) -> None:
    bad = write_job(folder, a_job(good_shot(lens_mm=45)))
    ended = run("solve", bad, "-o", folder / "out")
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
