"""The commands that start: a job of one's own, and completion."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
import typer
from command_line import run

import carrellata
from carrellata.jobs.commands.new import _SHELLS, FILES, completions
from carrellata.jobs.commands.solve import app

COMMANDS = typer.main.get_command(app)


@pytest.mark.slow
def test_a_new_job_is_whole_and_solves(tmp_path: Path) -> None:
    folder = tmp_path / "deep" / "mine"
    done = run("new", folder)
    assert done.code == 0
    assert str(folder / "job.toml") in done.out
    assert sorted(path.name for path in folder.iterdir()) == sorted(FILES)
    report = carrellata.check(folder / "job.toml")
    assert (report.faults, report.notes) == ((), ())
    (line,) = (one for one in done.out.splitlines() if "carrellata solve" in one)
    solved = run(*line.split()[1:])
    assert solved.code == 0
    assert (folder / "takes/first/review/index.html").is_file()


def test_a_new_job_replaces_nothing(tmp_path: Path) -> None:
    (tmp_path / "job.toml").write_text("mine")
    done = run("new", tmp_path)
    assert done.code == 2
    assert "is there already" in done.err
    assert (tmp_path / "job.toml").read_text() == "mine"
    assert not (tmp_path / "walk.csv").exists()


@pytest.mark.parametrize(
    ("before", "last", "found"),
    [
        ([], "so", ["solve"]),
        ([], "comple", ["completion"]),
        (["solve"], "--sh", ["--shard", "--shots"]),
        (["solve", "job.toml"], "jo", []),
        (["nothing"], "--", []),
    ],
)
def test_a_word_is_completed(before: list[str], last: str, found: list[str]) -> None:
    assert completions(COMMANDS, before, last) == found


def test_the_hidden_command_prints_a_word_a_line() -> None:
    assert run("complete", "--", "solve", "--sh").out == "--shard\n--shots\n"
    assert "solve\n" in run("complete", "--").out


def test_an_unknown_shell_is_refused() -> None:
    done = run("completion", "csh")
    assert done.code == 2
    assert "bash, zsh, fish" in done.err


@pytest.mark.skipif(shutil.which("bash") is None, reason="needs bash")
def test_bash_completes_by_the_script(tmp_path: Path) -> None:
    program = tmp_path / "carrellata"
    program.write_text(
        f'#!/bin/sh\nexec {sys.executable} -m carrellata.worker.cli "$@"\n'
    )
    program.chmod(0o755)
    script = run("completion", "bash").out
    assert script == _SHELLS["bash"]
    asked = 'COMP_WORDS=(carrellata sch); COMP_CWORD=1; _carrellata; echo "$COMPREPLY"'
    done = subprocess.run(
        ["bash", "-c", f"{script}\n{asked}"],
        env=os.environ | {"PATH": f"{tmp_path}:{os.environ['PATH']}"},
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    )
    assert done.stdout == "schema\n"
