"""How the hot loops are compiled: one decorator, `kernel`, for all of them.

numba's disk cache looks only at the file in which a function stands, so an edit in a
callee would leave stale machine code in use. The cache folder of a module is therefore
named after a digest of its source and of every module of this package that it imports,
directly or through others: an edit in any of them compiles afresh. The target is a
generic processor without fast-math, so that one architecture gives one result. Where
the user's cache folder can't be written (read-only installs, accounts without a home),
the machine code goes to a temporary folder.
"""

import hashlib
import os
import re
import tempfile
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import numba

config: Any = numba.config  # its settings are made at run time

config.CPU_NAME = "generic"
config.CPU_FEATURES = ""

_IMPORTED = re.compile(r"^\s*from \.(\w+) import", re.MULTILINE)


def kernel(function: Callable[..., Any]) -> Callable[..., Any]:
    """Compile `function` on first call, cached on disk, strict IEEE arithmetic."""
    before = config.CACHE_DIR
    config.CACHE_DIR = _cache_folder(Path(function.__code__.co_filename))
    compiled: Callable[..., Any] = numba.njit(cache=True, error_model="numpy")(function)
    config.CACHE_DIR = before
    return compiled


def sources_of(module: Path) -> tuple[Path, ...]:
    """Return a module's file and those of this package that it imports, sorted."""
    found = {module}
    waiting = [module]
    while waiting:
        for name in _IMPORTED.findall(waiting.pop().read_text(encoding="utf-8")):
            source = module.with_name(f"{name}.py")
            if source not in found:
                found.add(source)
                waiting.append(source)
    return tuple(sorted(found))


@cache
def _cache_folder(module: Path) -> str:
    """Return a writable folder named after the sources that a module depends on."""
    digest = hashlib.sha256(numba.__version__.encode())
    for source in sources_of(module):
        digest.update(source.name.encode())
        digest.update(source.read_bytes())
    name = f"carrellata-kernels-{digest.hexdigest()[:16]}"
    home = config.CACHE_DIR or os.path.expanduser("~/.cache")  # noqa: PTH111 - Path.home() raises without a home
    for base in (home, tempfile.gettempdir()):
        folder = Path(base) / name
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError:
            continue
        if os.access(folder, os.W_OK):
            return str(folder)
    return tempfile.mkdtemp(prefix=name)
