"""The public names: listed once, typed, documented, and quick to import."""

import ast
import doctest
import importlib
import inspect
import subprocess
import sys
import types
from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_type_hints

import pytest
from fresh_process import told

import carrellata
from carrellata.jobs.job.camera import CameraSpec, LensSpec
from carrellata.jobs.job.carry import AcceptSpec
from carrellata.jobs.job.crew import ChannelSpec, CrewSpec, PullerSpec
from carrellata.jobs.job.faults import field_names
from carrellata.jobs.job.framing import CueSpec, FramingSpec, ShakeSpec
from carrellata.jobs.job.quantities import Spec
from carrellata.jobs.job.rig import ArcRig, SticksRig, TrackRig
from carrellata.jobs.job.rig_choice import ChooseRig
from carrellata.jobs.job.shot import ShotSpec
from carrellata.jobs.job.spec import JobFile
from carrellata.jobs.job.subject import ColumnsSpec, SubjectSpec
from carrellata.jobs.job.world import WorldSpec
from carrellata.jobs.library import job_tables
from carrellata.jobs.library.measures import TakeMeasures
from carrellata.jobs.takes.sequence_table import MEASURES

ROOT = Path(__file__).resolve().parents[3]
FUNCTIONS = (
    "check",
    "lenses",
    "plain_tables",
    "read_take",
    "samples",
    "solve",
    "solve_shot",
    "study",
)
# What only the cascade of a file has beside its own fields.
CASCADE = {"defaults", "scenes", "intents", "coverage", "camera", "crew", "stage"}
TABLES: dict[str, type[Spec]] = {
    "AcceptTable": AcceptSpec,
    "ArcTable": ArcRig,
    "CameraTable": CameraSpec,
    "ChannelTable": ChannelSpec,
    "ChooseRigTable": ChooseRig,
    "ColumnsTable": ColumnsSpec,
    "CueTable": CueSpec,
    "FramingTable": FramingSpec,
    "LensTable": LensSpec,
    "PullerTable": PullerSpec,
    "ShakeTable": ShakeSpec,
    "ShotTable": ShotSpec,
    "SticksTable": SticksRig,
    "SubjectTable": SubjectSpec,
    "TrackTable": TrackRig,
    "WorldTable": WorldSpec,
}


def names_for_types() -> Iterator[str]:
    """The names that type checkers see in the root module."""
    root = ast.parse((ROOT / ".src/carrellata/__init__.py").read_text(encoding="utf-8"))
    for node in ast.walk(root):
        if isinstance(node, ast.ImportFrom) and node.level:
            yield from (alias.name for alias in node.names)


def test_every_public_name_loads_and_is_what_type_checkers_see() -> None:
    assert sorted({*names_for_types(), "__version__"}) == sorted(carrellata.__all__)
    for name in carrellata.__all__:
        assert getattr(carrellata, name) is not None
    assert sorted(dir(carrellata)) == sorted(carrellata.__all__)
    with pytest.raises(AttributeError, match="nothing_such"):
        _ = carrellata.nothing_such


def test_every_public_function_is_documented_and_typed() -> None:
    for name in FUNCTIONS:
        function = getattr(carrellata, name)
        assert isinstance(function, types.FunctionType)
        words = inspect.getdoc(function) or ""
        assert "Args:" in words
        assert "Raises:" in words
        assert "return" in get_type_hints(function, vars(typing_names()))


def typing_names() -> Any:
    """Names that annotations use and that are only imported for types."""
    from carrellata.jobs.run.executor import Executor

    return types.SimpleNamespace(Executor=Executor)


@pytest.mark.parametrize("module", ["solve", "look", "live"])
def test_the_examples_of_the_help_run(module: str) -> None:
    found = importlib.import_module(f"carrellata.jobs.library.{module}")
    done = doctest.testmod(found)
    assert done.attempted > 5
    assert done.failed == 0
    for name in ("solve", "solve_shot", "check", "lenses", "LiveCrew"):
        assert ">>> import carrellata" in (getattr(carrellata, name).__doc__ or "")


@pytest.mark.parametrize("name", TABLES)
def test_a_table_has_the_fields_of_the_schema(name: str) -> None:
    table, spec = getattr(job_tables, name), TABLES[name]
    assert sorted(table.__annotations__) == sorted(field_names(spec))
    needed = {
        field.alias or own
        for own, field in spec.model_fields.items()
        if field.is_required()
    }
    if name != "ShotTable":  # a shot inherits the rest
        assert table.__required_keys__ == needed


def test_every_table_is_held_against_the_schema() -> None:
    tables = {name for name in vars(job_tables) if name.endswith("Table")}
    assert tables == {*TABLES, "JobTable", "CrewTable"}


def test_the_tables_of_job_and_crew_have_the_fields_of_a_file() -> None:
    job = {*job_tables.JobTable.__annotations__}
    assert job == {*field_names(JobFile)} | CASCADE
    crew = {*job_tables.CrewTable.__annotations__}
    assert crew == {*field_names(CrewSpec)} - {"file", "file_sha256"}


def test_measures_are_those_of_a_take() -> None:
    assert tuple(TakeMeasures.__dataclass_fields__) == MEASURES


def test_importing_loads_none_of_the_work() -> None:
    program = (
        "import sys, carrellata; "
        "print([name for name in ('numpy', 'numba', 'pyarrow', 'pydantic', 'scipy') "
        "if name in sys.modules]); print(carrellata.__version__)"
    )
    loaded, version = told(program)
    assert loaded == "[]"
    assert version.count(".") == 2


SCRIPT = """
import carrellata
from carrellata import JobTable, ShotTable, SubjectTable

walker: SubjectTable = {
    "name": "walker", "at": "floor", "height_m": 1.75, "file": "walk.csv",
}
shot: ShotTable = {
    "name": "010", "frames": (1001, 1048), "subjects": [walker],
    "framing": {"size": "full"}, "lens_mm": "choose", "rig": {"kind": "choose"},
}
job: JobTable = {
    "schema": "carrellata.job/1", "sequence": "first", "rate": "24",
    "world": {"up": "y", "metres_per_unit": 1.0},
    "camera": {"film_back": "super35-4perf", "lens_kit_mm": [35.0, 50.0]},
    "shots": [shot],
}


def told(step: carrellata.StepDone) -> None:
    words: str = step.shot


result = carrellata.solve(job, progress=told)
drift: float | None = result["010"].measures.drift_max
faults: tuple[carrellata.Fault, ...] = carrellata.check(job).faults
"""


@pytest.mark.slow
def test_a_script_passes_a_strict_type_check(tmp_path: Path) -> None:
    good, bad = tmp_path / "good.py", tmp_path / "bad.py"
    good.write_text(SCRIPT)
    bad.write_text(SCRIPT.replace('"floor"', '"flor"').replace("job, p", "7, p"))
    settings = tmp_path / "mypy.ini"
    settings.write_text("[mypy]\n[mypy-pyarrow.*]\nignore_missing_imports = True\n")
    done = subprocess.run(
        [
            *(sys.executable, "-m", "mypy", "--strict", "--follow-imports=silent"),
            *("--config-file", settings, "--cache-dir", tmp_path / "cache"),
            *(good, bad),
        ],
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
        cwd=tmp_path,
    )
    errors = [line for line in done.stdout.splitlines() if " error: " in line]
    assert [line.partition(":")[0] for line in errors] == ["bad.py", "bad.py"], errors
