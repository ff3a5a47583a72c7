"""Bad jobs through the command line: exit code, words, nothing written.

`main` is the console script's own function, run in this process.
"""

import json
import re
from pathlib import Path
from typing import Any

import pytest
from job_files import write_job
from job_tables import a_job
from sound_job import (
    FIRST,
    GOOD,
    assert_lines,
    files_below,
    good_shot,
    solve,
    subject_of,
    walk,
    without,
    write_table,
)

from carrellata.jobs.job.shot import MAX_FRAMES
from carrellata.worker.cli import main


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    write_table(tmp_path / GOOD, walk())
    return tmp_path


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
    "track without length": (
        a_job(
            good_shot(rig={"kind": "track", "from": [0, 0, 1], "to": [0, 0, 1]}),
        ),
        ("shots[0].rig",),
    ),
    "floor that is no polygon": (
        a_job(good_shot(), stage={"floor": [[0, 0], [900, 0]]}),
        ("stage.floor: must have at least 3 values, got 2",),
    ),
    "floor that crosses itself": (
        a_job(
            good_shot(),
            defaults={
                "framing": {"size": "full"},
                "stage": {"floor": [[0, 0], [9, 9], [9, 0], [0, 9]]},
            },
        ),
        ("defaults.stage.floor: crosses itself, its corners must go round once",),
    ),
    "stage with an unknown field": (
        a_job(good_shot(stage={"celing_m": 3, "keep_out": []})),
        ('shots[0].stage.keep_out: unknown field; did you mean "keep_outs"',),
    ),
    "lens to chose": (
        a_job(good_shot(lens_mm="chose")),
        ('shots[0].lens_mm: must be a number of mm or "choose", got "chose"',),
    ),
    "rig of a kind that nobody lays": (
        a_job(good_shot(rig={"kind": "choose", "kinds": ["sticks", "trak"]})),
        ("shots[0].rig.kinds[1]: must be one of ", 'did you mean "track"'),
    ),
    "side of a fixed rig": (
        a_job(good_shot(side="left")),
        ("shots[0].side: needs a dolly with ", "or a rig to choose"),
    ),
    "height above the stage's": (
        a_job(
            good_shot(rig={"kind": "choose"}, height=400),
            stage={"height_m": [0.3, 2.6]},
        ),
        (
            "shots[0].height: 400 scene units are 4 m above the ground",
            "stage.height_m allows 0.3 to 2.6 m",
        ),
    ),
    "one letter and two lenses": (
        a_job(good_shot(setup="A"), good_shot(name="020", setup="A", lens_mm=50)),
        ('shots[1].lens_mm: is 50, shots[0] has 35; shots of setup "A" share ',),
    ),
    "crew's file that is not there": (
        a_job(good_shot(), crew={"preset": "night.toml"}),
        ('crew.preset: "night.toml" no such file',),
    ),
    "accepted finding that nothing finds": (
        a_job(
            good_shot(accept=[{"finding": "cross_line", "reason": "x", "by": "me"}]),
        ),
        ("shots[0].accept[0].finding: ", 'did you mean "crosses_line"'),
    ),
    "keep_setup as a word": (
        a_job(good_shot(keep_setup="last")),
        ('shots[0].keep_setup: must be a table or false, got "last"',),
    ),
    "margin over the whole score": (
        a_job(good_shot(keep_setup={"margin": 15})),
        ("shots[0].keep_setup.margin: must be <= 1, got 15",),
    ),
    "habits of a shot": (
        a_job(good_shot(habits={})),
        ("shots[0].habits: is a field of the file; put it at the top",),
    ),
    "habits of an unknown cut": (
        a_job(good_shot(), habits={"cut_weights": {"cross_line": 1}}),
        ('habits.cut_weights.cross_line: unknown field; did you mean "crosses_line"',),
    ),
    "lock that is no key": (
        a_job(good_shot(lock="tonight")),
        ('shots[0].lock: must be 64 digits of 0-9 and a-f, got "tonight"',),
    ),
    "lock of every shot": (
        a_job(
            good_shot(),
            defaults={"framing": {"size": "full"}, "lock": "0" * 64},
        ),
        ("defaults.lock: belongs in the shot itself",),
    ),
    "subject from an OpenUSD scene without its prim": (
        a_job(subject_of(file="a.usda")),
        ("shots[0].subjects[0].prim: is required for an OpenUSD scene",),
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
