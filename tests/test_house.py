"""What holds for the tree as a whole: names, sizes, directions of import."""

import ast
import functools
import re
import subprocess
import sys
from pathlib import Path, PurePosixPath

import pytest
from house.sizes import MOST_PARAMETERS, twice_defined, wide_functions
from house.tree import (
    ROOMS,
    Module,
    circles,
    floors,
    folder_arrows,
    imported_names,
    modules,
)

ROOT = Path(__file__).resolve().parents[1]
TOP_LEVEL = {
    "DEVELOPERS.md",
    "README.md",
    "deploy",
    "jobs",
    "pyproject.toml",
    "solver",
    "tests",
    "worker",
}
MAY_USE = {
    "solver": {"solver"},
    "jobs": {"solver", "jobs"},
    "worker": {"solver", "jobs", "worker"},
}
SOLVER_PACKAGES = {"numpy", "scipy", "cvxpy", "numba"}
# Files, clocks, processes, the environment and hidden random state.
NOT_IN_SOLVER = {
    "datetime",
    "io",
    "os",
    "pathlib",
    "random",
    "shutil",
    "socket",
    "subprocess",
    "tempfile",
    "time",
}
# Compiled machine code is kept on disk; one file knows where.
KEEPS_MACHINE_CODE = {Path("solver/compiled/kernel.py"): {"os", "pathlib", "tempfile"}}
# What belongs to work done elsewhere.
NOT_IN_JOBS = {"celery", "fastapi", "kombu", "redis", "starlette", "uvicorn"}
MOST_LINES = 400
BROAD = {"Exception", "BaseException"}
MOST_BROAD_HANDLERS = 2
EMPTY_NAMES = re.compile(r"^_*(utils?|helpers?|common|misc|managers?|base_.*)$")


def tracked_files() -> list[Path]:
    """Files known to git that are still there, relative to the root."""
    listing = subprocess.run(
        ["git", "ls-files", "-z"], cwd=ROOT, check=True, capture_output=True, text=True
    ).stdout
    names = [Path(name) for name in listing.split("\0") if name]
    return [name for name in names if (ROOT / name).exists()]


def sources(*folders: str) -> list[Path]:
    """Python files below the folders, relative to the root."""
    found = [path for name in folders for path in (ROOT / name).rglob("*.py")]
    return sorted(path.relative_to(ROOT) for path in found)


@functools.cache
def parse(path: Path) -> ast.Module:
    return ast.parse((ROOT / path).read_text(encoding="utf-8"), filename=str(path))


def import_faults(path: Path, tree: ast.AST) -> list[str]:
    """What a file below a room imports and must not."""
    room = path.parts[0]
    faults = []
    for name in imported_names(tree, ("carrellata", *path.parent.parts)):
        top, *rest = name.split(".")
        if top == "carrellata":
            allowed = bool(rest) and rest[0] in MAY_USE[room]
        elif room == "solver":
            refused = NOT_IN_SOLVER - KEEPS_MACHINE_CODE.get(path, set())
            standard = top in sys.stdlib_module_names and top not in refused
            allowed = standard or top in SOLVER_PACKAGES
        elif room == "jobs":
            allowed = top not in {*NOT_IN_JOBS, *ROOMS, "tests"}
        else:
            allowed = top not in {*ROOMS, "tests"}
        if not allowed:
            faults.append(f"{path} imports {name}")
    return faults


def is_broad(node: ast.AST) -> bool:
    """Whether a node catches every exception."""
    if isinstance(node, ast.ExceptHandler):
        caught = [node.type]
    elif isinstance(node, ast.Call) and ast.unparse(node.func).endswith("suppress"):
        caught = list(node.args)
    else:
        return False
    names = [
        part
        for kind in caught
        for part in (kind.elts if isinstance(kind, ast.Tuple) else [kind])
    ]
    return any(kind is None or ast.unparse(kind) in BROAD for kind in names)


def test_top_level_holds_exactly_the_agreed_names() -> None:
    names = {path.parts[0] for path in tracked_files()}
    assert {name for name in names if not name.startswith(".")} == TOP_LEVEL


def test_imports_point_from_worker_to_jobs_to_solver() -> None:
    faults = [
        fault for path in sources(*ROOMS) for fault in import_faults(path, parse(path))
    ]
    assert faults == []


@pytest.mark.parametrize(
    ("path", "line"),
    [
        ("solver/crew/plan.py", "import pydantic"),
        ("solver/crew/plan.py", "import os.path"),
        ("solver/crew/plan.py", "from carrellata.jobs import spec"),
        ("solver/crew/plan.py", "from carrellata import jobs"),
        ("solver/take.py", "from ..jobs.spec import Job"),
        ("solver/take.py", "from .. import worker"),
        ("solver/deep/plan.py", "from ...jobs import spec"),
        ("solver/crew/plan.py", "from ... import anything"),
        ("solver/crew/plan.py", "def late():\n    import pyarrow"),
        ("jobs/run/local.py", "from ...worker import tasks"),
        ("jobs/run/local.py", "import redis"),
        ("jobs/run/local.py", "import solver"),
        ("worker/farm/tasks.py", "from jobs.spec import Job"),
    ],
)
def test_import_check_sees_a_wrong_arrow(path: str, line: str) -> None:
    assert len(import_faults(Path(path), ast.parse(line))) == 1


@pytest.mark.parametrize(
    ("path", "line"),
    [
        ("solver/crew/plan.py", "import numpy as np\nfrom ..lens import Lens"),
        ("solver/deep/plan.py", "from ..lens import Lens\nfrom math import pi"),
        ("jobs/run/local.py", "import os\nfrom ...solver import plan"),
        (
            "worker/farm/tasks.py",
            "import celery\nfrom carrellata.jobs.job.spec import Job",
        ),
    ],
)
def test_import_check_lets_a_right_arrow_pass(path: str, line: str) -> None:
    assert import_faults(Path(path), ast.parse(line)) == []


def test_solver_opens_no_files() -> None:
    opened = [
        f"{path}:{node.lineno}"
        for path in sources("solver")
        for node in ast.walk(parse(path))
        if isinstance(node, ast.Call) and ast.unparse(node.func) == "open"
    ]
    assert opened == []


def test_tests_import_the_package_by_its_full_name() -> None:
    short = [
        f"{path} imports {name}"
        for path in sources("tests")
        for name in imported_names(parse(path), path.parent.parts)
        if name.split(".")[0] in ROOMS
    ]
    assert short == []


def test_no_room_is_loaded_under_a_second_name() -> None:
    # The same file under two names gives two classes that are not equal.
    assert not set(ROOMS) & set(sys.modules)


def test_broad_handlers_are_rare() -> None:
    handlers = [
        f"{path}:{node.lineno}"
        for path in sources(*ROOMS)
        for node in ast.walk(parse(path))
        if is_broad(node)
    ]
    assert len(handlers) <= MOST_BROAD_HANDLERS, handlers


@pytest.mark.parametrize(
    ("code", "broad"),
    [
        ("try: f()\nexcept: pass", True),
        ("try: f()\nexcept (OSError, Exception): pass", True),
        ("with contextlib.suppress(BaseException): f()", True),
        ("try: f()\nexcept (OSError, ValueError): pass", False),
        ("with suppress(KeyError): f()", False),
    ],
)
def test_broad_handler_is_recognised(code: str, broad: bool) -> None:
    assert any(is_broad(node) for node in ast.walk(ast.parse(code))) is broad


def test_a_long_file_gives_its_reason() -> None:
    # The module docstring has to say "over 400 lines" and why.
    long_files = [
        str(path)
        for path in sources(*ROOMS, "tests")
        if len((ROOT / path).read_text(encoding="utf-8").splitlines()) > MOST_LINES
        and f"over {MOST_LINES} lines"
        not in (ast.get_docstring(parse(path)) or "").lower()
    ]
    assert long_files == []


def test_names_of_files_say_what_is_in_them() -> None:
    empty = [
        str(path)
        for path in sources(*ROOMS, "tests")
        if any(EMPTY_NAMES.match(Path(part).stem) for part in path.parts)
    ]
    assert empty == []


REFERS = re.compile(r"^ {4,}\w+(?:, \w+)*: see (?:\w|`_)", re.MULTILINE)


def test_what_a_parameter_means_is_said_where_it_stands() -> None:
    # A docstring may refer to a class whose own says it, not to a line above.
    referring = [
        f"{path}: {found.strip()}"
        for path in sources(*ROOMS)
        for found in REFERS.findall((ROOT / path).read_text(encoding="utf-8"))
    ]
    assert referring == []


@pytest.mark.parametrize(
    ("line", "refers"),
    [
        ("        lead: see cue.", True),
        ("        target, u: see `_rows`.", True),
        ("        hold: what the dolly keeps, see `Shot`.", False),
        ("        whips: as in `HeadLogs`.", False),
    ],
)
def test_reference_is_recognised(line: str, refers: bool) -> None:
    assert bool(REFERS.search(f'"""Args:\n{line}\n')) is refers


@pytest.fixture(scope="module")
def house() -> list[Module]:
    return modules(ROOT, *ROOMS)


def module(path: str, text: str) -> Module:
    return Module(PurePosixPath(path), text)


def test_no_folders_import_each_other_in_a_circle(house: list[Module]) -> None:
    assert circles(folder_arrows(house)) == []


def test_a_class_name_is_defined_once(house: list[Module]) -> None:
    assert twice_defined(house) == {}


def test_functions_have_few_parameters(house: list[Module]) -> None:
    assert [each.place for each in wide_functions(house)] == []


def test_circle_is_seen_where_a_function_imports() -> None:
    tree = [
        module("solver/rigs/track.py", "from ..optics.lens import Lens"),
        module("solver/optics/lens.py", "def f():\n    from ..shot import Shot"),
        module("solver/shot.py", "from .rigs import track"),
        module("solver/take.py", "from .shot import Shot"),
    ]
    arrows = folder_arrows(tree)
    assert [sorted(circle) for circle in circles(arrows)] == [
        ["solver/optics", "solver/rigs", "solver/shot.py"]
    ]
    assert floors(arrows) == 2


def test_class_is_seen_twice() -> None:
    tree = [
        module("solver/take.py", "class Take: pass\nclass Row: pass"),
        module("worker/client.py", "def f():\n    class Take: pass"),
    ]
    assert twice_defined(tree) == {"Take": ["solver/take.py", "worker/client.py"]}


@pytest.mark.parametrize(
    ("parameters", "wide"),
    [
        (MOST_PARAMETERS, False),
        (MOST_PARAMETERS + 1, True),
    ],
)
def test_parameters_are_counted(parameters: int, wide: bool) -> None:
    names = ", ".join(f"p{k}" for k in range(parameters - 2))
    text = f"class A:\n    def f(self, {names}, *rest, last): pass"
    found = [each.place for each in wide_functions([module("solver/a.py", text)])]
    assert found == (["solver/a.py:A.f"] if wide else [])


def test_package_has_its_rooms_and_the_root_module() -> None:
    # The root module is the library's door; it holds names and loads them when used.
    found = {path.name for path in (ROOT / ".src/carrellata").iterdir()}
    assert found - {"__pycache__"} == {*ROOMS, "__init__.py", "py.typed"}


def test_root_module_defines_nothing_of_its_own() -> None:
    root = ast.parse((ROOT / ".src/carrellata/__init__.py").read_text(encoding="utf-8"))
    functions = {one.name for one in root.body if isinstance(one, ast.FunctionDef)}
    assert functions == {"__getattr__", "__dir__"}
    assert not [one for one in root.body if isinstance(one, ast.ClassDef)]


@pytest.mark.parametrize("room", ROOMS)
def test_room_is_linked_and_typed(room: str) -> None:
    link = ROOT / ".src/carrellata" / room
    assert str(link.readlink()) == f"../../{room}"
    assert (ROOT / room / "py.typed").is_file()


@pytest.mark.parametrize("path", sorted((ROOT / "deploy").glob("*.lock")), ids=str)
def test_lock_pins_hashes_and_names_no_address(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    pins = [line for line in text.splitlines() if re.match(r"[a-z0-9]", line)]
    assert pins
    assert all(re.match(r"\S+==\S+ (;.* )?\\$", line) for line in pins)
    assert "://" not in text
    assert "--find-links" not in text
