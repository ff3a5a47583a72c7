"""How the hot loops are compiled: one decorator, `kernel`, for all of them.

numba's disk cache looks only at the file in which a function stands, so an edit in a
callee would leave stale machine code in use. The cache folder is therefore named after
a digest of every source file of this package: an edit anywhere compiles afresh. The
target is a generic processor without fast-math, so that one architecture gives one
result. Where the user's cache folder can't be written (read-only installs, accounts
without a home), the machine code goes to a temporary folder.
"""

import hashlib
import os
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numba

config: Any = numba.config  # its settings are made at run time

config.CPU_NAME = "generic"
config.CPU_FEATURES = ""


def _cache_folder() -> str:
    """Return a writable folder named after the sources of this package."""
    digest = hashlib.sha256(numba.__version__.encode())
    for source in sorted(Path(__file__).parent.glob("*.py")):
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


_FOLDER = _cache_folder()


def kernel(function: Callable[..., Any]) -> Callable[..., Any]:
    """Compile `function` on first call, cached on disk, strict IEEE arithmetic."""
    before = config.CACHE_DIR
    config.CACHE_DIR = _FOLDER
    compiled: Callable[..., Any] = numba.njit(cache=True, error_model="numpy")(function)
    config.CACHE_DIR = before
    return compiled
