"""Runs mutants: each in a process of its own, on a copy of the tree.

The libraries are imported once; a process that has them is copied for each mutant, and
imports the program from the mutant's tree. There it runs the mutant's tests. A mutant
is killed if a test fails; it is alive if all pass; and it is lost, which is an error
too, if no test ran.
"""

import importlib
import os
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from .mutant import ROOT, Mutant

KILLED, ALIVE, LOST, LATE = "killed", "alive", "lost", "late"
MOST_S = 300.0  # of one mutant; one that hangs the tests is killed by it, as "late"
COPIED = ("solver", "jobs", "worker", "tests")
LIBRARIES = (
    "numpy", "scipy.optimize", "numba", "cvxpy", "pyarrow.parquet", "pydantic",
    "pytest", "typer", "jinja2",
)  # fmt: skip
_PASSED, _FAILED = 0, 1  # exit statuses of pytest


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a mutant, and how long it took [s]."""

    mutant: Mutant
    state: str
    seconds: float

    @property
    def good(self) -> bool:
        """Whether it is as the table says."""
        wanted = (ALIVE,) if self.mutant.equivalent else (KILLED, LATE)
        return self.state in wanted


def run(mutants: Sequence[Mutant], said: Path) -> Iterator[Outcome]:
    """Run mutants one after the other.

    Args:
        mutants: all found in their files.
        said: file that what the tests say is added to.

    Raises:
        StaleMutantError: the line of one is not there; none is run then.
    """
    for mutant in mutants:
        mutant.source()
    for name in LIBRARIES:
        importlib.import_module(name)
    with tempfile.TemporaryDirectory(prefix="mutants-") as folder:
        tree = _copied(Path(folder))
        for mutant in mutants:
            path = tree / mutant.file
            whole = path.read_bytes()
            path.write_text(mutant.source(), "utf-8")
            began = time.monotonic()
            state = _tested(mutant, tree, said)
            yield Outcome(mutant, state, time.monotonic() - began)
            path.write_bytes(whole)


def _copied(folder: Path) -> Path:
    """Return a copy of the tree that can be imported as the package."""
    skip = shutil.ignore_patterns("__pycache__")
    for name in COPIED:
        shutil.copytree(ROOT / name, folder / name, ignore=skip, symlinks=True)
    shutil.copy(ROOT / "pyproject.toml", folder)
    for name in ("README.md", "DEVELOPERS.md", "deploy", ".venv"):
        (folder / name).symlink_to(ROOT / name)
    package = folder / ".src/carrellata"
    package.parent.mkdir()
    shutil.copytree(ROOT / ".src/carrellata", package, symlinks=True)
    return folder


def _tested(mutant: Mutant, tree: Path, said: Path) -> str:
    child = os.fork()
    if child == 0:
        status = 99
        try:
            status = _in_child(mutant, tree, said)
        finally:
            os._exit(status)
    began = time.monotonic()
    while time.monotonic() - began < MOST_S:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            code = os.waitstatus_to_exitcode(status)
            return {_PASSED: ALIVE, _FAILED: KILLED}.get(code, LOST)
        time.sleep(0.05)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return LATE


def _in_child(mutant: Mutant, tree: Path, said: Path) -> int:
    import numba
    import pytest

    numba.config.DISABLE_JIT = 0 if mutant.compiled else 1
    os.environ["PYTHONPATH"] = str(tree / ".src")
    os.environ["PYTHONDONTWRITEBYTECODE"] = "1"
    os.environ["NUMBA_CACHE_DIR"] = str(tree / "kernels")
    os.environ["NUMBA_DISABLE_JIT"] = "0" if mutant.compiled else "1"
    sys.dont_write_bytecode = True
    out = os.open(said, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    os.dup2(out, 1)
    os.dup2(out, 2)
    print(f"\n=== {mutant.name}", flush=True)
    os.chdir(tree)
    old = str(ROOT)
    sys.path[:] = [one for one in sys.path if not one.startswith(old + "/tests")]
    sys.path[:] = [one for one in sys.path if one != old and not one.endswith("/.src")]
    sys.path.insert(0, str(tree / ".src"))
    sys.path.insert(0, str(tree / "tests"))
    for name in [
        n for n in sys.modules if n.split(".")[0] in ("carrellata", "mutants")
    ]:
        del sys.modules[name]
    words = ["-x", "-q", "--no-header", "-p", "no:cacheprovider"]
    return int(pytest.main([*words, "--rootdir", str(tree), *mutant.tests]))
