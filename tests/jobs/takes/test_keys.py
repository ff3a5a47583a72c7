"""What changes the name of a result, and what must not."""

import ast
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from walks import save_walk, walk, walking_job, walking_shot

from carrellata.jobs.job.parse import parse_job
from carrellata.jobs.run.shots import prepare
from carrellata.jobs.takes import keys as keys_module
from carrellata.jobs.takes.keys import (
    JUDGES,
    MAKES_TAKES,
    Keys,
    judge_key,
    keys_of,
    program_digest,
)
from carrellata.solver.compiled.kernel import sources_of

Bend = Callable[[dict[str, Any]], None]


def keys(job: dict[str, Any]) -> Keys:
    """Return the keys of a job's first shot."""
    parsed = parse_job(job)
    prepared = prepare(parsed, parsed.shots[0], Path())
    return keys_of(parsed, prepared.spec, prepared.inputs)


def first(job: dict[str, Any]) -> dict[str, Any]:
    shot: dict[str, Any] = job["shots"][0]
    return shot


@pytest.mark.parametrize(
    "bend",
    [
        lambda job: first(job).update(purpose="she runs"),
        lambda job: first(job).update(scene="hall"),
        lambda job: first(job).update(cut="elapsed"),
        lambda job: first(job).update(setup="A"),
        lambda job: job.update(timecode="01:00:00:00"),
        lambda job: job["shots"].pop(1),
        lambda job: job["shots"].insert(1, walking_shot("015", lens_mm=50)),
        lambda job: job["shots"][1].update(lens_mm=18),
        lambda job: job["camera"].update(lens_kit_mm=[12, 18, 25, 35, 50]),
        lambda job: first(job).update(framing={"size": "full", "headroom": 0.08}),
    ],
)
def test_neighbours_and_words_do_not_change_a_key(bend: Bend) -> None:
    job = walking_job()
    before = keys(job)
    bend(job)
    assert keys(job) == before


@pytest.mark.parametrize(
    "bend",
    [
        lambda job: job.update(sequence="chase2"),
        lambda job: job.update(rate="24"),
        lambda job: job.update(seed=8),
        lambda job: job["world"].update(metres_per_unit=0.011),
        lambda job: job["camera"].update(stop=4.0),
        lambda job: job["camera"].update(coc_mm=0.02),
        lambda job: job["camera"].update(aspect=1.85),
        lambda job: job["crew"].update(preset="sharp"),
        lambda job: job["crew"].update(operator={"reaction_s": 0.18}),
        lambda job: first(job).update(name="011"),
        lambda job: first(job).update(frames=[1001, 1023]),
        lambda job: first(job).update(handles=3),
        lambda job: first(job).update(lens_mm=35),
        lambda job: first(job).update(height=151.0),
        lambda job: first(job).update(shake="rough"),
        lambda job: first(job).update(roll_deg=1),
        lambda job: first(job).update(samples_per_frame=2),
        lambda job: first(job).update(framing={"size": "knee"}),
        lambda job: first(job)["rig"].update(hold="size"),
        lambda job: first(job)["rig"].update(to=[501, 0, 150]),
        lambda job: first(job)["subjects"][0].update(height_m=1.71),
        lambda job: first(job)["subjects"][0].update(samples=walk(speed=5.001)),
        lambda job: first(job).update(cues=[{"frame": 1010, "size": "knee"}]),
    ],
)
def test_whatever_moves_the_camera_changes_both_keys(bend: Bend) -> None:
    job = walking_job()
    before = keys(job)
    bend(job)
    after = keys(job)
    assert after.judge != before.judge
    assert after.take != before.take


def test_moved_file_keeps_the_key_and_changed_bytes_do_not(tmp_path: Path) -> None:
    def key_with(file: str) -> str:
        subject = {"name": "runner", "file": file, "at": "floor", "height_m": 1.7}
        job = parse_job(walking_job(walking_shot("010", subjects=[subject])))
        prepared = prepare(job, job.shots[0], tmp_path)
        return keys_of(job, prepared.spec, prepared.inputs).judge

    save_walk(tmp_path / "a.parquet")
    save_walk(tmp_path / "deep/b.parquet")
    save_walk(tmp_path / "c.parquet", speed=5.01)
    assert key_with("a.parquet") == key_with("deep/b.parquet")
    assert key_with("a.parquet") != key_with("c.parquet")


def test_keys_are_sha256_and_differ_from_each_other() -> None:
    found = keys(walking_job())
    assert len(found.judge) == len(found.take) == 64
    assert int(found.judge, 16) != int(found.take, 16)


ROOT = Path(__file__).resolve().parents[3]


def closure(*modules: str) -> set[str]:
    found = sources_of(*(ROOT / name for name in modules))
    return {path.relative_to(ROOT).as_posix() for path in found}


def test_programs_that_make_takes_are_part_of_the_key() -> None:
    names = closure(*MAKES_TAKES)
    assert {"solver/take.py", "solver/crew/plan.py", "jobs/run/shots.py"} <= names
    assert {"jobs/subjects/read.py", "jobs/takes/table.py"} <= names
    rooms = ("solver/studies", "solver/setups", "jobs/places", "jobs/review", "worker")
    assert not [name for name in names if name.startswith(rooms)]


def test_programs_that_judge_are_part_of_the_judge_key() -> None:
    names = closure(*JUDGES)
    assert {"jobs/run/asks.py", "solver/setups/search.py"} <= names
    rooms = ("solver/studies", "jobs/places", "jobs/review", "worker")
    assert not [name for name in names if name.startswith(rooms)]


@pytest.fixture(scope="module")
def copy(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the programs, to be changed."""
    package = tmp_path_factory.mktemp("package")
    for room in ("solver", "jobs"):
        for path in (ROOT / room).rglob("*.py"):
            to = package / path.relative_to(ROOT)
            to.parent.mkdir(parents=True, exist_ok=True)
            to.write_bytes(path.read_bytes())
    return package


@pytest.mark.parametrize(
    ("changed", "takes", "judgements"),
    [
        ("jobs/run/asks.py", False, True),
        ("solver/setups/score.py", False, True),
        ("solver/crew/plan.py", True, True),
        ("jobs/takes/describe.py", True, False),
        ("jobs/takes/parquet_form.py", True, False),
        ("solver/studies/study.py", False, False),
        ("jobs/places/objects.py", False, False),
        ("jobs/review/shown.py", False, False),
    ],
)
def test_a_key_changes_with_what_makes_its_result_and_with_nothing_else(
    copy: Path, tmp_path: Path, changed: str, takes: bool, judgements: bool
) -> None:
    package = tmp_path / "package"
    shutil.copytree(copy, package)
    with (package / changed).open("a") as source:
        source.write("# a comment\n")
    for modules, differs in ((MAKES_TAKES, takes), (JUDGES, judgements)):
        before = program_digest(*modules, package=copy)
        assert (program_digest(*modules, package=package) != before) is differs


def test_what_judges_is_in_the_judge_key_of_open_shots_only(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def both() -> tuple[str, str]:
        fixed = parse_job(walking_job())
        rig = {"kind": "choose"}
        left = parse_job(walking_job(walking_shot("010", rig=rig, lens_mm="choose")))
        return judge_key(fixed, fixed.shots[0], {}), judge_key(left, left.shots[0], {})

    fixed, left = both()
    monkeypatch.setattr(keys_module, "judging_program", lambda: "other")
    assert both()[0] == fixed
    assert both()[1] != left


def test_every_import_is_of_the_form_that_is_followed() -> None:
    for module in (*MAKES_TAKES, *JUDGES):
        for name in closure(module):
            tree = ast.parse((ROOT / name).read_text())
            for node in ast.walk(tree):
                if isinstance(node, ast.Import):
                    assert not any("carrellata" in one.name for one in node.names)
                elif isinstance(node, ast.ImportFrom) and node.level:
                    assert node.module, name


@pytest.mark.parametrize(("field", "value"), [("share", 0.5), ("must_hold", False)])
def test_who_counts_how_much_is_part_of_both_keys(field: str, value: object) -> None:
    job = walking_job()
    other = {"name": "other", "samples": walk(), "at": "floor", "height_m": 1.8}
    first(job)["subjects"].append({**other, "share": 1.0, "must_hold": True})
    before = keys(job)
    first(job)["subjects"][1][field] = value
    after = keys(job)
    assert after.judge != before.judge
    assert after.take != before.take


def test_the_program_that_makes_takes_is_part_of_both_keys(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    before = keys(walking_job())
    monkeypatch.setattr(keys_module, "program_digest", lambda *names: "other")
    after = keys(walking_job())
    assert after.judge != before.judge
    assert after.take != before.take


def test_the_number_of_a_take_is_part_of_its_key_and_not_of_its_judgement() -> None:
    job = walking_job()
    before = keys(job)
    first(job).update(take=2)
    after = keys(job)
    assert after.judge == before.judge
    assert after.take != before.take
    first(job).update(take=1)
    assert keys(job) == before
