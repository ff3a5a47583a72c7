"""The commands as their users run them: real processes, texts and exit codes."""

import json
import os
import resource
import signal
import time
from pathlib import Path

import pytest
from command_line import PATIENCE_S, run, run_apart, start
from fresh_process import told
from process_tree import pool_processes, wait_for_end
from walks import (
    faulty_shot,
    files_below,
    many_shots,
    save_job,
    walking_job,
    walking_shot,
)

from carrellata.jobs.run.warm import warm_up
from carrellata.jobs.takes.sequence_table import read_sequence
from carrellata.jobs.takes.take_file import read_take


@pytest.fixture(scope="module", autouse=True)
def _compiled() -> None:
    warm_up()


def wait_for_takes(folder: Path, count: int) -> None:
    until = time.monotonic() + PATIENCE_S
    while len(list(folder.glob("*.parquet"))) < count:
        assert time.monotonic() < until
        time.sleep(0.001)


def test_help_needs_no_numerical_library() -> None:
    program = (
        "import sys\n"
        "from carrellata.worker.cli import main\n"
        "assert main(['--help']) == 0\n"
        "heavy = {'numpy', 'numba', 'pyarrow', 'pydantic', 'rich'}\n"
        "print(sorted(heavy & set(sys.modules)))\n"
    )
    *listed, heavy = told(program)
    assert heavy == "[]"
    for command in ("check", "solve", "lenses", "schema", "prune"):
        assert any(line.startswith(f"  {command} ") for line in listed)


def test_solving_a_shot_loads_no_functions_on_columns(tmp_path: Path) -> None:
    """They take a twentieth of the time of a short solve to load."""
    job = save_job(tmp_path, walking_job(walking_shot("010")))
    program = (
        "import sys\n"
        "from carrellata.worker.cli import main\n"
        "assert main(sys.argv[1:]) == 0\n"
        "print('numba' in sys.modules, 'pyarrow.compute' in sys.modules)\n"
    )
    assert told(program, "solve", job, "-o", tmp_path / "out")[-1] == "True False"


def test_solve_prints_a_line_a_shot_faults_first(tmp_path: Path) -> None:
    job = save_job(tmp_path, walking_job(walking_shot("010"), faulty_shot("020")))
    done = run_apart("solve", job, "-o", tmp_path / "out", "--workers", "1")
    assert done.code == 1
    lines = done.out.splitlines()
    assert lines[0] == (
        "020  failed  shots[1].subjects[0].file: 'no.csv' is not a file"
    )
    assert lines[1].startswith("010  solved  head in frame ")
    assert lines[1].endswith(" m")
    assert "1 solved, 0 kept, 1 failed; takes in " in done.out
    assert done.err == ""


def test_solve_prints_json_of_every_row(tmp_path: Path) -> None:
    job = save_job(tmp_path, walking_job())
    done = run("solve", job, "-o", tmp_path / "out", "--workers", "1", "--json")
    assert done.code == 0
    told = json.loads(done.out)
    assert [shot["status"] for shot in told["shots"]] == ["solved", "solved"]
    assert told["shots"][0]["in_frame"] > 0.5
    assert told["shots"][0]["setup"]["lens_mm"] == 25
    assert Path(told["folder"]) == tmp_path / "out/chase"


def test_verbose_says_more(tmp_path: Path) -> None:
    job = save_job(tmp_path, walking_job(walking_shot("010")))
    done = run("solve", job, "-o", tmp_path, "--workers", "1", "-v")
    assert "010: in frame" in done.out
    assert "size kept" in done.out


@pytest.mark.parametrize(
    ("words", "text"),
    [
        (("--shots", "010,99"), '--shots: "99" is not a shot (010, 020)\n'),
        (("--shard", "3/2"), "--shard: must be k/n with 1 <= k <= n, got 3/2\n"),
        (("--shard", "3"), '--shard: must be K/N such as 3/16, got "3"\n'),
    ],
)
def test_bad_choice_is_refused(
    tmp_path: Path, words: tuple[str, ...], text: str
) -> None:
    job = save_job(tmp_path, walking_job())
    done = run("solve", job, "-o", tmp_path / "out", *words)
    assert (done.code, done.err, done.out) == (2, text, "")
    assert not (tmp_path / "out").exists()


def test_bad_job_is_refused_with_every_fault(tmp_path: Path) -> None:
    tables = walking_job(
        walking_shot("010", lens_mm=45), walking_shot("010", roll_deg=100)
    )
    job = save_job(tmp_path, tables)
    done = run("solve", job, "-o", tmp_path / "out")
    assert done.code == 2
    assert "shots[0].lens_mm: 45 mm is not in the kit" in done.err
    assert "shots[1].roll_deg: " in done.err
    told = json.loads(run("check", job, "--json").out)
    lines = [f"{one['path']}: {one['message']}" for one in told["faults"]]
    assert lines == done.err.splitlines()


def test_duplicate_names_are_refused(tmp_path: Path) -> None:
    job = save_job(tmp_path, walking_job(walking_shot("a1"), walking_shot("A1")))
    done = run("solve", job, "-o", tmp_path / "out")
    assert done.code == 2
    assert "shots[1].name: " in done.err


def test_strict_refuses_all_with_the_code_of_a_bad_job(tmp_path: Path) -> None:
    job = save_job(tmp_path, walking_job(walking_shot("010"), faulty_shot("020")))
    done = run("solve", job, "-o", tmp_path / "out", "--strict", "--workers", "1")
    assert done.code == 2
    assert done.err == "shots[1].subjects[0].file: 'no.csv' is not a file\n"
    assert not (tmp_path / "out").exists()


def test_check_counts_what_is_good_and_names_what_is_not(tmp_path: Path) -> None:
    good = save_job(tmp_path / "good", walking_job())
    done = run("check", good)
    heads, *rows, last = done.out.splitlines()
    assert (done.code, last) == (0, "chase: 2 shots, 48 frames")
    assert heads.split() == [
        *("shot", "frames", "size", "lens", "rig", "subject", "height", "travels"),
        *("top", "speed", "rises"),
    ]
    assert [row.split()[0] for row in rows] == ["010", "020"]
    assert "1.70 m  1.8 m    1.5 m/s" in rows[0]
    bad = save_job(tmp_path / "bad", walking_job(faulty_shot("010")))
    done = run("check", bad, "--json")
    assert done.code == 1
    assert json.loads(done.out)["faults"] == [
        {"path": "shots[0].subjects[0].file", "message": "'no.csv' is not a file"}
    ]


@pytest.mark.parametrize(
    "words",
    [
        (),
        ("solve",),
        ("fly",),
        ("check", "none.toml"),
        ("solve", "none.toml", "-o", "out", "--workers", "0"),
        ("prune", "nowhere"),
        ("lenses", "--back", "none"),
        ("lenses", "--kit", "18,x"),
        ("lenses", "--from", "medium"),
        ("lenses", "--height-m", "nan"),
    ],
)
def test_bad_usage_ends_with_2_and_no_traceback(
    tmp_path: Path, words: tuple[str, ...]
) -> None:
    done = run(*words, folder=tmp_path)
    assert done.code == 2
    assert done.err
    assert "Traceback" not in done.err
    assert files_below(tmp_path) == {}


def test_lenses_print_distances_and_a_change_of_size(tmp_path: Path) -> None:
    words = ("lenses", "--kit", "25,50", "--from", "medium", "--to", "chest")
    done = run(*words)
    assert done.code == 0
    lines = done.out.splitlines()
    assert lines[0].startswith("25 mm: angle of view ")
    assert lines[1].startswith("  full    at ")
    assert "medium to chest: push in " in lines[8]
    assert "(the kit has 50 mm)" in lines[8]
    assert "(none in the kit)" in lines[17]
    told = json.loads(run(*words, "--json").out)
    first = told["cameras"][0]["lenses"][0]
    assert first["sizes"][0]["distance_m"] == pytest.approx(2.71, abs=0.01)
    assert first["change"]["lens_mm"] == 50


def test_lenses_of_a_job_name_the_shots_of_each_camera(tmp_path: Path) -> None:
    camera = {**walking_job()["camera"], "aspect": 1.85}
    job = save_job(
        tmp_path, walking_job(walking_shot("010"), walking_shot("020", camera=camera))
    )
    told = json.loads(run("lenses", job, "--json").out)
    assert [camera["shots"] for camera in told["cameras"]] == [["010"], ["020"]]
    angles = [c["lenses"][0]["vertical_deg"] for c in told["cameras"]]
    assert angles[0] < angles[1]


def test_schema_is_a_json_schema() -> None:
    told = json.loads(run("schema").out)
    assert told["$schema"].startswith("https://json-schema.org/")
    assert "shots" in told["properties"]


def test_prune_removes_replaced_takes(tmp_path: Path) -> None:
    job = save_job(tmp_path, walking_job(walking_shot("010")))
    run("solve", job, "-o", tmp_path / "out", "--workers", "1")
    save_job(tmp_path, walking_job(walking_shot("010", lens_mm=35)))
    run("solve", job, "-o", tmp_path / "out", "--workers", "1")
    done = run("prune", tmp_path / "out", "--json")
    assert done.code == 0
    (removed,) = json.loads(done.out)["removed"]
    assert "/history/010/" in removed
    left = set(files_below(tmp_path / "out"))
    history = {name for name in left if "/history/010/" in name}
    assert len(history) == 1
    reviewed = {f"chase/review/{name}.html" for name in ("index", "cut", "010")}
    reviewed.add("chase/review/data/010.js")
    rows = {name for name in left if name.startswith("chase/rows/010.")}
    assert len(rows) == 1
    current = {"chase/takes/010.parquet", "chase/sequence.parquet"}
    assert left - history == current | reviewed | rows


@pytest.mark.slow
@pytest.mark.parametrize("workers", ["1", "2"])
def test_killed_run_leaves_whole_takes_and_the_next_one_completes(
    tmp_path: Path, workers: str
) -> None:
    job = save_job(tmp_path, walking_job(*many_shots(60)))
    out = tmp_path / "out"
    takes = out / "chase/takes"
    process = start("solve", job, "-o", out, "--workers", workers)
    wait_for_takes(takes, 3)
    process.kill()
    process.communicate(timeout=PATIENCE_S)
    wait_for_end(process.pid, PATIENCE_S)  # the pool sees that its parent is gone
    done = [path for path in takes.glob("*.parquet") if read_take(path)]
    assert 3 <= len(done) < 60
    assert run("solve", job, "-o", out, "--workers", "1").code == 0
    rows = read_sequence(out / "chase/sequence.parquet")
    assert {row.shot for row in rows if row.status == "kept"} == {
        path.stem for path in done
    }
    assert len(rows) == 60
    assert not [name for name in files_below(out) if name.endswith(".part")]
    run("solve", job, "-o", tmp_path / "whole", "--workers", "1")
    assert files_below(takes) == files_below(tmp_path / "whole/chase/takes")


@pytest.mark.slow
@pytest.mark.parametrize("workers", ["1", "2"])
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_interrupted_run_ends_with_4_and_whole_takes(
    tmp_path: Path, workers: str, number: signal.Signals
) -> None:
    job = save_job(tmp_path, walking_job(*many_shots(400)))
    out = tmp_path / "out"
    process = start("solve", job, "-o", out, "--workers", workers)
    wait_for_takes(out / "chase/takes", 3)
    if number == signal.SIGINT:
        os.killpg(process.pid, number)  # as a terminal does: to the pool as well
    else:
        process.send_signal(number)
    _, told = process.communicate(timeout=PATIENCE_S)
    assert process.returncode == 4
    assert told.startswith("stopped with ")
    assert told.endswith(" of 400 shots done\n")
    names = set(files_below(out / "chase/takes"))
    assert 3 <= len(names) < 400
    assert all(read_take(out / "chase/takes" / name) for name in names)
    assert read_sequence(out / "chase/sequence.parquet")


@pytest.mark.slow
def test_shots_that_killed_workers_had_in_hand_are_solved_by_others(
    tmp_path: Path,
) -> None:
    job = save_job(tmp_path, walking_job(*many_shots(80)))
    out = tmp_path / "out"
    process = start("solve", job, "-o", out, "--workers", "2")
    wait_for_takes(out / "chase/takes", 3)
    workers = pool_processes(process.pid)
    assert len(workers) == 2
    for pid in workers:
        os.kill(pid, signal.SIGKILL)
    process.communicate(timeout=PATIENCE_S)
    assert process.returncode == 0
    rows = read_sequence(out / "chase/sequence.parquet")
    assert {row.status for row in rows} <= {"solved", "kept"}
    assert len(rows) == 80
    assert run("solve", job, "-o", out, "--workers", "1").code == 0


@pytest.mark.slow
@pytest.mark.parametrize("workers", ["1", "2"])
def test_full_disk_is_named_and_leaves_finished_takes_whole(
    tmp_path: Path, workers: str
) -> None:
    # A limit on the size of files fails a write as a full disk does, half way.
    small = walking_job(walking_shot("010", frames=[1001, 1001], handles=0))
    job, out = save_job(tmp_path, small), tmp_path / "out"
    assert run("solve", job, "-o", out, "--workers", "1").code == 0
    before = files_below(out)
    size = max(len(data) for data in before.values())
    larger = walking_shot("020", samples_per_frame=64)
    save_job(tmp_path, walking_job(*small["shots"], larger))

    def limit() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (size + 4096, size + 4096))

    quiet = {"PYTHONDONTWRITEBYTECODE": "1"}
    words = ("solve", job, "-o", out, "--workers", workers)
    done = run_apart(*words, preexec_fn=limit, env=quiet)
    assert done.code == 1
    (told,) = [line for line in done.out.splitlines() if "failed  " in line]
    assert "shots[1]: cannot be written: file too large" in told
    assert f"{out}/chase/history/020/" in told
    after = files_below(out)
    told = ("/review/", "/rows/")  # what says that it failed
    assert not {
        name
        for name in after
        if "/020" in name and not any(part in name for part in told)
    }
    take = "chase/takes/010.parquet"
    assert after[take] == before[take]
    assert run(*words).code == 0
    added = set(files_below(out)) - set(before)
    assert "chase/takes/020.parquet" in added
    assert (
        len({name for name in added if "020.parquet" in name or "/020/" in name}) == 2
    )


def test_folder_that_cannot_be_made_ends_with_1(tmp_path: Path) -> None:
    job = save_job(tmp_path, walking_job(walking_shot("010")))
    (tmp_path / "out").write_text("a file is in the way")
    done = run("solve", job, "-o", tmp_path / "out", "--workers", "1", "--json")
    assert done.code == 1
    (fault,) = json.loads(done.out)["faults"]
    assert fault["message"].startswith("cannot be written: ")
    assert "Traceback" not in done.err
