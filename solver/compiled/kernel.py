"""How the hot loops are compiled: one decorator, `kernel`, for all of them.

numba's disk cache looks only at the file in which a function stands, so an edit in a
callee would leave stale machine code in use. The cache folder of a module is therefore
named after a digest of its source and of every module of this package that it imports,
directly or through others: an edit in any of them compiles afresh. The target is a
generic processor without fast-math, so that one architecture gives one result. Where
the user's cache folder can't be written (read-only installs, accounts without a home),
the machine code goes to a temporary folder. A wheel can bring machine code along, made
by `jobs/run/ship.py`: it is copied to the user's folder where its name is the one of
the sources. The compiler itself is only imported when a kernel is first called:
commands that solve nothing start without it.
"""

import functools
import hashlib
import os
import re
import sys
import tempfile
import threading
from collections.abc import Callable
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Any

_IMPORTED = re.compile(r"^ *from (\.+)([\w.]+) import ", re.MULTILINE)
_FOR_TYPES_ONLY = re.compile(r"^if TYPE_CHECKING:\n(?:(?: .*)?\n)+", re.MULTILINE)
_MAKING = threading.RLock()
FOLDERS = "carrellata-kernels-"
"""How the names of folders with machine code begin."""
SHIPPED = Path(__file__).with_name("shipped")
"""Where machine code lies that came with the package."""


class Kernel:
    """A function that is compiled when it, or a kernel that calls it, is first called.

    What Python calls takes its arguments out of Python's objects first. That part costs
    a seventh of all compiling, so a kernel that only kernels call is made without it.
    Where there is one for Python already it serves kernels too.

    Attributes:
        compiled: the compiler's object that Python calls; made when first asked for.
        linked: the one that goes into kernels that call it; made likewise.
    """

    compiled: Any
    linked: Any

    def __init__(self, function: Callable[..., Any]) -> None:
        functools.update_wrapper(self, function)
        self._function = function

    def __call__(self, *arguments: Any) -> Any:
        """Call the machine code."""
        return self.compiled(*arguments)

    def __getattr__(self, name: str) -> Any:
        """Make what is asked for, or return the type by which kernels know this one."""
        if name == "_numba_type_":
            made = self.compiled if self._serves_both() else self.linked
            return made._numba_type_
        if name not in ("compiled", "linked"):
            raise AttributeError(name)
        with _MAKING:
            if name not in self.__dict__:
                made = _compiled(self._function, for_python=name == "compiled")
                setattr(self, name, made)
        return self.__dict__[name]

    def _serves_both(self) -> bool:
        """Tell whether what Python calls is there, and nothing for kernels only."""
        if "linked" in self.__dict__:
            return False
        source = Path(self._function.__code__.co_filename)
        name = f"{source.stem}.{self._function.__qualname__}-*.nbi"
        return "compiled" in self.__dict__ or any(Path(cache_folder(source)).glob(name))


def kernel(function: Callable[..., Any]) -> Kernel:
    """Compile `function` on first call, cached on disk, strict IEEE arithmetic."""
    return Kernel(function)


def has_machine_code(module: str, function: str) -> bool:
    """Tell whether a kernel, of a module of this package, was compiled before."""
    parts = module.split(".")
    source = Path(__file__).parents[1].joinpath(*parts).with_suffix(".py")
    return any(Path(cache_folder(source)).rglob(f"{parts[-1]}.{function}-*.nbi"))


def _compiled(function: Callable[..., Any], *, for_python: bool) -> Any:
    numba = compiler()
    config: Any = numba.config
    folder = cache_folder(Path(function.__code__.co_filename))
    before = config.CACHE_DIR, getattr(config, "CACHE_LOCATOR_CLASSES", "")
    config.CACHE_DIR = folder if for_python else f"{folder}/linked"
    config.CACHE_LOCATOR_CLASSES = f"{__package__}.kept_code.KeptCode"
    try:
        compiled = numba.njit(
            cache=True,
            error_model="numpy",
            no_cpython_wrapper=not for_python,
            no_cfunc_wrapper=True,
        )(function)
    finally:
        config.CACHE_DIR, config.CACHE_LOCATOR_CLASSES = before
    # Not sooner: loading them may read the settings anew, before they are looked at.
    _load_array_functions()
    return compiled


def compiler() -> Any:
    """Return the compiler, set to a processor that all machines are at least.

    It reads its settings again whenever the environment has changed, so they stand
    there too.
    """
    os.environ.update(NUMBA_CPU_NAME="generic", NUMBA_CPU_FEATURES="")
    import numba

    config: Any = numba.config  # its settings are made at run time
    config.CPU_NAME = "generic"
    config.CPU_FEATURES = ""
    return numba


@cache
def _load_array_functions() -> None:
    """Load the compiler's array functions, but not scipy's linear algebra for them.

    They look for it as they are loaded, which takes as long again; no kernel uses it.
    """
    if "scipy.linalg" in sys.modules or "numba.np.arraymath" in sys.modules:
        return
    sys.modules["scipy.linalg"] = None  # type: ignore[assignment]  # not to be found
    try:
        import numba.np.arraymath  # noqa: F401
    finally:
        del sys.modules["scipy.linalg"]


if "numba" in sys.modules:  # who imported it may compile before a kernel is called
    compiler()


def sources_of(*modules: Path) -> tuple[Path, ...]:
    """Return the files of modules and of all that they import of this package, sorted.

    Imports are followed through others, and those inside functions too. What is only
    imported for types is left out, as it never runs.
    """
    found = set(modules)
    waiting = list(modules)
    while waiting:
        new = _imported_by(waiting.pop()) - found
        found |= new
        waiting += new
    return tuple(sorted(found))


@cache
def _imported_by(source: Path) -> frozenset[Path]:
    """Return the files of this package that a module imports itself."""
    text = _FOR_TYPES_ONLY.sub("", source.read_text(encoding="utf-8"))
    return frozenset(
        _file_of(source.parents[len(dots) - 1].joinpath(*name.split(".")))
        for dots, name in _IMPORTED.findall(text)
    )


def _file_of(module: Path) -> Path:
    """Return the file of a module or package, given its path without a suffix."""
    file = module.with_suffix(".py")
    return file if file.is_file() else module / "__init__.py"


@cache
def _version() -> str:
    return version("numba")


@cache
def _digest_of(source: Path) -> bytes:
    return hashlib.sha256(source.read_bytes()).digest()


@cache
def cache_folder(module: Path) -> str:
    """Return a writable folder named after the sources that a module depends on."""
    digest = hashlib.sha256(_version().encode())
    for source in sources_of(module):
        digest.update(source.name.encode())
        digest.update(_digest_of(source))
    name = f"{FOLDERS}{digest.hexdigest()[:16]}"
    folder = writable_folder(name)
    brought = SHIPPED / name
    if brought.is_dir():
        _bring(brought, Path(folder))
    return folder


def _bring(brought: Path, folder: Path) -> None:
    """Copy machine code that came with the package, unless it is there."""
    for source in brought.rglob("*.nb?"):
        target = folder / source.relative_to(brought)
        if target.exists():
            continue
        target.parent.mkdir(exist_ok=True)
        # Others may read it while it is written.
        part = target.with_name(f"{target.name}.{os.getpid()}")
        part.write_bytes(source.read_bytes())
        part.replace(target)


def make_folder(folder: str) -> None:
    """Make a folder, and those that it lies in, where there is none."""
    Path(folder).mkdir(parents=True, exist_ok=True)


def writable_folder(name: str) -> str:
    """Return a folder of this name for what can be made again, made where it can be."""
    home = os.environ.get("NUMBA_CACHE_DIR") or os.path.expanduser("~/.cache")  # noqa: PTH111 - Path.home() raises without a home
    for base in (home, tempfile.gettempdir()):
        folder = Path(base) / name
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError:
            continue
        if os.access(folder, os.W_OK):
            return str(folder)
    return tempfile.mkdtemp(prefix=name)
