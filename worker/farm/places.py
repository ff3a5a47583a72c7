"""Places that the farm may touch: everything it is told of lies below one of them.

Names come with a message or a job. Those of folders are followed through every link
before they are compared; those of objects have no links, and count only with the very
options of the root, so that nobody can have credentials shown to another server.
"""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from ...jobs.errors import InputError
from ...jobs.places.objects import ObjectPath
from ...jobs.places.place import Place


class PlaceError(InputError):
    """A path leads out of the folders that the farm may use."""


def place_below(roots: Sequence[Place], path: Path) -> Path:
    """Return the real place of a path.

    Args:
        roots: real folders; prefixes of object stores among them do not count.
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
    folders = [root for root in roots if isinstance(root, Path)]
    if not any(real.is_relative_to(root) for root in folders):
        raise PlaceError(str(path), "lies outside the folders that the farm may use")
    return real


def output_below(roots: Sequence[Place], out: Place) -> Place:
    """Return the real place of an output, a folder or a prefix of an object store.

    Args:
        roots: real folders and prefixes.
        out: one that says no options of its store has those of the root.

    Raises:
        PlaceError: it lies below none of the roots.
    """
    if isinstance(out, Path):
        return place_below(roots, out)
    assert isinstance(out, ObjectPath)
    for root in roots:
        if isinstance(root, ObjectPath):
            meant = out if out.options else replace(out, options=root.options)
            if meant.is_below(root):
                return meant
    raise PlaceError(out.uri, "lies outside the outputs that the farm may use")
