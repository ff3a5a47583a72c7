"""The guides are short, their links lead somewhere, and what they show works."""

import re
import shlex
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import opentimelineio as otio
import pytest
import typer
from pxr import Usd, UsdGeom

import carrellata
from carrellata.jobs.commands.solve import app
from carrellata.jobs.job.load import load_job
from carrellata.worker.cli import main

ROOT = Path(__file__).resolve().parents[1]
GUIDES = (
    "README.md",
    "DEVELOPERS.md",
    "deploy/README.md",
    "jobs/coverage/README.md",
    "jobs/README.md",
    "jobs/decide/README.md",
    "jobs/export/README.md",
    "jobs/job/README.md",
    "jobs/library/README.md",
    "jobs/review/README.md",
    "jobs/scene/README.md",
    "jobs/study/README.md",
    "jobs/takes/README.md",
    "solver/README.md",
    "solver/coverage/README.md",
    "tests/bench/README.md",
    "worker/README.md",
)
MOST_LINES = {"README.md": 150, "DEVELOPERS.md": 130}
LONGEST_LINE = 100
# Scripts and the arguments with which the guides call them.
SCRIPTS = {
    "bench": {"", "quick"},
    "demo": {""},
    "evidence": {""},
    "farm": {"", "-d", "status", "stop"},
    "mutants": {"all"},
    "setup": {"core", "dev"},
    "test": {"", "long"},
}
# Lines that need a network, a shell of their own or a build, run by other tests.
ELSEWHERE = {
    "pip install .",
    'pip install "carrellata[service]"',
    ". farm_out/env",
    "export CARRELLATA_OUTPUTS=s3://night/takes:/srv/takes",
    "export CARRELLATA_TOKEN=$(carrellata token)",
    ".venv/bin/python -m pytest tests/solver -q",
}
# Drawing takes seconds; tests/jobs/export/test_frames.py and test_stills.py do it.
DRAWN = ("carrellata export takes --to frames", "carrellata export takes --to stills")


def text_of(guide: str) -> str:
    return (ROOT / guide).read_text(encoding="utf-8")


def blocks(guide: str, language: str) -> list[str]:
    """The contents of a guide's code blocks of one language."""
    return re.findall(rf"^```{language}\n(.*?)^```", text_of(guide), re.DOTALL | re.M)


def shell_lines(guide: str) -> list[str]:
    """A guide's shell lines without comments; a quoted one may span several."""
    lines: list[str] = []
    for block in blocks(guide, "sh"):
        kept = ""
        for line in block.splitlines():
            kept = f"{kept}\n{line}" if kept else line
            if kept.count('"') % 2 == 0:
                lines.append(re.sub(r"\s+#.*", "", kept) if "\n" not in kept else kept)
                kept = ""
        assert not kept, f"{guide}: an open quote in {kept}"
    return [line.strip() for line in lines if line.strip()]


ALL_LINES = [(guide, line) for guide in GUIDES for line in shell_lines(guide)]


@pytest.mark.parametrize("guide", GUIDES)
def test_a_guide_is_short_and_wrapped(guide: str) -> None:
    text = text_of(guide)
    assert len(text.splitlines()) <= MOST_LINES.get(guide, 200)
    prose = re.sub(r"^```.*?^```", "", text, flags=re.DOTALL | re.M)
    wide = [
        line
        for line in prose.splitlines()
        if len(line) > LONGEST_LINE and not line.startswith(("|", "!", "    "))
    ]
    assert not wide


def test_every_guide_is_checked() -> None:
    found = {
        path.relative_to(ROOT).as_posix()
        for pattern in ("*.md", "*/*.md", "*/*/*.md")
        for path in ROOT.glob(pattern)
        if not path.relative_to(ROOT).as_posix().startswith(".")
    }
    assert found - {"deploy/CHANGELOG.md"} == set(GUIDES)


@pytest.mark.parametrize("guide", GUIDES)
def test_links_lead_to_files(guide: str) -> None:
    folder = (ROOT / guide).parent
    for link in re.findall(r"\]\(([^)#]+)\)", text_of(guide)):
        assert link.startswith("https://") or (folder / link).exists(), link


@pytest.mark.parametrize("guide", ["DEVELOPERS.md", "solver/README.md"])
def test_files_that_are_named_exist(guide: str) -> None:
    named = re.findall(r"`([\w./*-]+(?:\.py|/))`", text_of(guide))
    assert len(named) > 10
    folders = [ROOT, *(ROOT / name for name in ("solver", "solver/setups", "tests"))]
    missing = [
        name
        for name in named
        if name != "OUT/" and not any(list(folder.glob(name)) for folder in folders)
    ]
    assert not missing


def test_functions_of_the_way_through_stand_in_the_files_linked() -> None:
    steps = re.findall(
        r"^\d\. `(\w+)` \(\[.*?\]\((.*?)\)\)", text_of("DEVELOPERS.md"), re.M
    )
    assert len(steps) == 6
    for name, path in steps:
        assert re.search(rf"^def {name}\(", (ROOT / path).read_text(), re.M), name


def words_of(line: str) -> list[str]:
    return shlex.split(line)[1:]


@pytest.mark.parametrize(("guide", "line"), ALL_LINES)
def test_a_shell_line_is_understood(guide: str, line: str) -> None:
    if line in ELSEWHERE or line.startswith("python3 -c"):
        return
    program, *words = shlex.split(line)
    if program == "sh":
        folder, name = words[0].split("/")
        assert folder == "deploy"
        assert (ROOT / "deploy" / name).is_file()
        assert " ".join(words[1:]) in SCRIPTS[name]
        return
    assert program == "carrellata", f"{guide}: {line}"
    commands = typer.main.get_command(app)
    name, *options = words
    command = commands.commands[name]  # type: ignore[attr-defined]
    made = command.make_context(name, options)
    assert set(made.params) == {parameter.name for parameter in command.params} - {
        "help"
    }


def test_every_command_is_in_a_guide() -> None:
    everything = "\n".join(text_of(guide) for guide in GUIDES)
    commands = typer.main.get_command(app).commands  # type: ignore[attr-defined]
    assert len(commands) > 15
    missing = [
        name
        for name, one in commands.items()
        if not one.hidden
        and f"carrellata {name}" not in everything
        and f"`{name}" not in everything
    ]
    assert not missing


def run_lines(lines: list[str]) -> Iterator[tuple[str, int]]:
    """Run lines of a guide in the working folder; yield each with its exit code."""
    for line in lines:
        if line.startswith("python3 -c"):
            words = [sys.executable, *shlex.split(line.rpartition(" > ")[0])[1:]]
            printed = subprocess.run(words, check=True, capture_output=True).stdout
            Path(line.rpartition(" > ")[2]).write_bytes(printed)
            yield line, 0
        else:
            yield line, main(words_of(line))


@pytest.mark.slow
def test_the_first_job_of_the_readme_works(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    run_here = [one for one in shell_lines("README.md") if one.startswith("carrel")]
    assert len(run_here) == 4
    for line, code in run_lines(run_here):
        assert code == 0, f"{line}: {capsys.readouterr().err}"
    assert "the choice among" in capsys.readouterr().out
    assert Path("takes/first/review/index.html").is_file()
    assert Path("takes/first/export/csv/first_010_cam.csv").is_file()


@pytest.mark.slow
def test_the_smallest_job_solves(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    (job,) = blocks("README.md", "toml")
    Path("first.toml").write_text(job)
    rows = [f"{1001 + k},{1.3 * k / 24},0,0" for k in range(48)]
    Path("walk.csv").write_text("\n".join(["frame,x,y,z", *rows]))
    assert carrellata.solve_shot("first.toml").measures.head_in_frame == 1.0


@pytest.mark.slow
def test_the_snippet_of_the_readme_gives_a_take() -> None:
    (snippet,) = blocks("README.md", "python")
    assert len(snippet.splitlines()) < 10
    names: dict[str, Any] = {}
    exec(snippet, names)  # what a reader types
    assert isinstance(names["take"], carrellata.TakeResult)
    assert names["take"].measures.head_in_frame == 1.0


def test_the_snippets_of_the_library_run() -> None:
    names: dict[str, Any] = {}
    snippets = blocks("jobs/library/README.md", "python")
    assert len(snippets) == 4
    for snippet in snippets:
        exec(snippet, names)
    assert names["pan"].shape == (48,)
    assert names["data"][:4] == b"PAR1"


def test_every_call_of_the_library_is_in_its_guide() -> None:
    text = text_of("jobs/library/README.md")
    functions = [n for n in carrellata.__all__ if n[0].islower() and n[0] != "_"]
    assert len(functions) == 8
    assert [name for name in functions if f"`{name}(" not in text] == []


def add_a_cut(path: Path) -> None:
    """Write a timeline of one clip."""

    def span(first: int, length: int) -> otio.opentime.TimeRange:
        return otio.opentime.TimeRange(
            otio.opentime.RationalTime(first, 24),
            otio.opentime.RationalTime(length, 24),
        )

    media = otio.schema.ExternalReference("010.mov", available_range=span(1001, 96))
    clip = otio.schema.Clip("010", media_reference=media, source_range=span(1009, 48))
    timeline = otio.schema.Timeline("night")
    timeline.tracks.append(otio.schema.Track("V", children=[clip]))
    otio.adapters.write_to_file(timeline, str(path))


def add_a_set(path: Path) -> None:
    """Write an empty OpenUSD scene in metres, Y up."""
    stage = Usd.Stage.CreateNew(str(path))
    UsdGeom.SetStageMetersPerUnit(stage, 1.0)
    UsdGeom.SetStageUpAxis(stage, UsdGeom.Tokens.y)
    stage.SetTimeCodesPerSecond(24000 / 1001)
    stage.GetRootLayer().Save()


@pytest.mark.slow
def test_the_job_of_the_guide_solves_and_its_lines_work(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    shutil.copytree(ROOT / "jobs/examples/ferry_dash/subjects", "subjects")
    Path("night.toml").write_text("\n".join(blocks("jobs/README.md", "toml")))
    assert len(load_job(Path("night.toml")).shots) == 3
    for name, guide in (("study", "study"), ("notes", "decide")):
        (text,) = blocks(f"jobs/{guide}/README.md", "toml")
        Path(f"{name}.toml").write_text(text)
    for cut in ("cut.otio", "old.otio"):
        add_a_cut(Path(cut))
    add_a_set(Path("set.usda"))
    folders = ("", "review/", "export/", "study/", "decide/")
    lines = [
        line
        for folder in folders
        for line in shell_lines(f"jobs/{folder}README.md")
        if not line.startswith(DRAWN)
    ]
    assert len(lines) == 27
    for line, code in run_lines(lines):
        assert code == 0, f"{line}: {capsys.readouterr().err}"
    assert tomllib.loads(Path("shots.toml").read_text())["shots"][0]["name"] == "010"
    forms = {path.name for path in Path("takes/night/export").iterdir()}
    assert forms == {
        *("usd", "gltf", "csv", "opentrackio", "fdl", "timeline", "picture")
    }
