"""Where the compiler keeps the machine code of one kernel.

The compiler is told of this class by its setting for such places. The folder is named
after the sources, so nothing else of them is looked at, and the files are as good on
another machine, at another path.
"""

from collections.abc import Callable
from typing import Any

import numba

from .kernel import make_folder


class KeptCode:
    """The place of a kernel's machine code, as the compiler asks for it."""

    def __init__(self, function: Callable[..., Any]) -> None:
        """Take the folder that is set as the compiler's own at this time."""
        config: Any = numba.config  # its settings are made at run time
        self._folder = str(config.CACHE_DIR)
        self._line = function.__code__.co_firstlineno

    @classmethod
    def from_function(cls, function: Callable[..., Any], file: str) -> "KeptCode":
        """Return the place of a function that stands in a file."""
        return cls(function)

    def ensure_cache_path(self) -> None:
        """Make the folder."""
        make_folder(self._folder)

    def get_cache_path(self) -> str:
        """Return the folder."""
        return self._folder

    def get_source_stamp(self) -> str:
        """Return what tells versions of the source apart; the folder's name does."""
        return ""

    def get_disambiguator(self) -> str:
        """Return what tells functions of one name apart."""
        return str(self._line)
