"""Folders that the farm may touch: everything it is told of lies below one of them.

Names come with a message or a job, so they are followed through every link before
they are compared.
"""

from collections.abc import Sequence
from pathlib import Path

from ..jobs.errors import InputError


class PlaceError(InputError):
    """A path leads out of the folders that the farm may use."""


def place_below(roots: Sequence[Path], path: Path) -> Path:
    """Return the real place of a path.

    Args:
        roots: real folders.
        path: absolute, with or without links; it need not be there.

    Raises:
        PlaceError: it is relative, or lies below none of the roots.
    """
    if not path.is_absolute():
        raise PlaceError(str(path), "must be a path from / on")
    try:
        real = path.resolve()
    except (OSError, RuntimeError, ValueError) as error:
        raise PlaceError(str(path), "leads nowhere") from error
    if not any(real.is_relative_to(root) for root in roots):
        raise PlaceError(str(path), "lies outside the folders that the farm may use")
    return real
