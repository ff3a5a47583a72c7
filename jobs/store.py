"""Where takes lie: the current one of each shot, and those that it replaced.

    OUT/<sequence>/takes/<shot>.parquet            current
    OUT/<sequence>/history/<shot>/<key>.parquet    replaced, by take key
    OUT/<sequence>/sequence.parquet                a row a shot

A current take is put into the history before its successor takes its place, so that
no take is ever gone, and going back to an earlier job solves nothing again.
"""

import shutil
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path

import pyarrow as pa

from .atomic import remove_leftovers, write_whole
from .errors import InputError
from .keys import Keys
from .takes import read_take, take_metadata, write_take


@dataclass(frozen=True, kw_only=True, slots=True)
class Store:
    """The folder of one sequence, `OUT/<sequence>`."""

    folder: Path

    @property
    def sequence(self) -> Path:
        """The table with a row a shot."""
        return self.folder / "sequence.parquet"

    def take(self, shot: str) -> Path:
        """Return where the current take of a shot lies."""
        return self.folder / "takes" / f"{shot}.parquet"

    def replaced(self, shot: str, take_key: str) -> Path:
        """Return where a take lies that another one replaced."""
        return self.folder / "history" / shot / f"{take_key}.parquet"

    def find(self, shot: str, keys: Keys) -> pa.Table | None:
        """Return the current take if it is the one of these keys, whole.

        One from the history is made the current one. None: it has to be solved.

        Raises:
            OSError: the take from the history could not be put in place.
        """
        current = _whole_take(self.take(shot))
        if current is not None and _keys(current).judge == keys.judge:
            return current
        path = self.replaced(shot, keys.take)
        earlier = _whole_take(path)
        if earlier is None or _keys(earlier) != keys:
            return None
        self._retire(shot)
        write_whole(self.take(shot), path.read_bytes())
        return earlier

    def put(self, shot: str, table: pa.Table) -> None:
        """Make a take the current one of its shot.

        Raises:
            OSError: it could not be written; the current take is as it was.
        """
        self._retire(shot)
        write_take(table, self.take(shot))

    def tidy(self) -> None:
        """Remove what killed runs left half written."""
        if self.folder.is_dir():
            remove_leftovers(self.folder)

    def prune(self, kept: Collection[str] = ()) -> tuple[Path, ...]:
        """Remove replaced takes, but those whose take key is in `kept`.

        Returns:
            What was removed, sorted.
        """
        removed = [
            path
            for path in sorted((self.folder / "history").glob("*/*.parquet"))
            if path.stem not in kept
        ]
        for path in removed:
            path.unlink()
        for shot in {path.parent for path in removed}:
            if not any(shot.iterdir()):
                shutil.rmtree(shot)
        return tuple(removed)

    def _retire(self, shot: str) -> None:
        """Put a copy of the current take, if it is whole, into the history."""
        current = _whole_take(self.take(shot))
        if current is None:
            return
        path = self.replaced(shot, _keys(current).take)
        if not path.exists():
            write_whole(path, self.take(shot).read_bytes())


def stores_below(out: Path) -> tuple[Store, ...]:
    """Return the sequences that lie in an output folder, or the one that it is."""
    folders = [out, *sorted(out.iterdir())] if out.is_dir() else []
    return tuple(
        Store(folder=folder) for folder in folders if (folder / "takes").is_dir()
    )


def _whole_take(path: Path) -> pa.Table | None:
    """Return a take, or None where there is none that is whole."""
    try:
        return read_take(path)
    except InputError:
        return None


def _keys(table: pa.Table) -> Keys:
    return Keys(**take_metadata(table)["keys"])
