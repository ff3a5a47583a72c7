"""Where takes lie: the current one of each shot, and every take by its key.

    OUT/<sequence>/takes/<shot>.parquet            current
    OUT/<sequence>/history/<shot>/<key>.parquet    every take, by take key
    OUT/<sequence>/candidates/<shot>.json          setups judged, where open
    OUT/<sequence>/sequence.parquet                a row a shot

OUT is a folder, or a prefix of an object store. A take is written into the history and
made the current one by a second name of the same file (a copy where there are no such
names), so that no take is ever gone, and going back to an earlier job solves nothing
again.
"""

from collections.abc import Collection
from dataclasses import dataclass

import pyarrow as pa

from ..errors import InputError
from ..places.atomic import name_whole, remove_leftovers, write_whole
from ..places.object_errors import StoreError
from ..places.objects import ObjectPath
from ..places.place import Place, remove_folder
from .judgement import Judgement, judgement_of
from .keys import Keys
from .metadata import take_metadata
from .take_file import read_take, write_take


@dataclass(frozen=True, kw_only=True, slots=True)
class Store:
    """The folder of one sequence, `OUT/<sequence>`."""

    folder: Place

    @property
    def sequence(self) -> Place:
        """The table with a row a shot."""
        return self.folder / "sequence.parquet"

    def take(self, shot: str) -> Place:
        """Return where the current take of a shot lies."""
        return self.folder / "takes" / f"{shot}.parquet"

    def candidates(self, shot: str) -> Place:
        """Return where the judged setups of a shot lie."""
        return self.folder / "candidates" / f"{shot}.json"

    def judgement(self, shot: str) -> Judgement | None:
        """Return the judgement of a shot that lies here, None unless it is whole.

        Raises:
            StoreError: an object store does not answer, so that nobody knows.
        """
        try:
            return judgement_of(self.candidates(shot).read_bytes())
        except StoreError:
            raise
        except OSError:
            return None

    def put_judgement(self, judgement: Judgement) -> None:
        """Write the judgement of a shot whole.

        Raises:
            OSError: it could not be written; what was there still is.
        """
        # Where a loss of power spoils it, the shot is judged again.
        place = self.candidates(judgement.shot)
        write_whole(place, judgement.json(), flush=False)

    def kept(self, shot: str, take_key: str) -> Place:
        """Return where a take lies in the history."""
        return self.folder / "history" / shot / f"{take_key}.parquet"

    def find(self, shot: str, keys: Keys) -> pa.Table | None:
        """Return the current take if it is the one of these keys, whole.

        One from the history is made the current one. None: it has to be solved.

        Raises:
            OSError: the take from the history could not be put in place.
        """
        current = _whole_take(self.take(shot))
        if current is not None and _keys(current) == keys:
            return current
        path = self.kept(shot, keys.take)
        earlier = _whole_take(path)
        if earlier is None or _keys(earlier) != keys:
            return None
        name_whole(self.take(shot), path)
        return earlier

    def whole(self, shot: str, take_key: str) -> pa.Table | None:
        """Return the take of a shot that has this key, whole, or None."""
        for path in (self.kept(shot, take_key), self.take(shot)):
            table = _whole_take(path)
            if table is not None and _keys(table).take == take_key:
                return table
        return None

    def take_of(self, shot: str, take_key: str | None) -> Place:
        """Return where the take of a row lies, whatever is the current one by now.

        Args:
            shot: name of the shot.
            take_key: of the row; None for what the shot had before it failed.
        """
        if take_key is not None and self.kept(shot, take_key).is_file():
            return self.kept(shot, take_key)
        return self.take(shot)

    def make_current(self, shot: str, take_key: str) -> None:
        """Make a take that `whole` finds the current one of its shot, to the byte.

        Raises:
            OSError: it could not be put in place; the current take is as it was.
        """
        current = _whole_take(self.take(shot))
        if current is None or _keys(current).take != take_key:
            name_whole(self.take(shot), self.kept(shot, take_key))

    def current(self, shot: str) -> pa.Table | None:
        """Return the current take of a shot, whole, or None."""
        return _whole_take(self.take(shot))

    def put(self, shot: str, keys: Keys, take: pa.RecordBatchReader) -> None:
        """Make a take, whose keys are these, the current one of its shot; it is read.

        Raises:
            OSError: it could not be written; the current take is as it was.
        """
        path = self.kept(shot, keys.take)
        write_take(take, path)
        name_whole(self.take(shot), path)

    def tidy(self) -> None:
        """Remove what killed runs left half written.

        Raises:
            OSError: the folder cannot be used, or there is no such bucket.
        """
        if isinstance(self.folder, ObjectPath):
            self.folder.need_bucket()
        elif self.folder.is_dir():
            remove_leftovers(self.folder)

    def prune(self, kept: Collection[str] = ()) -> tuple[Place, ...]:
        """Remove takes that are neither current nor named by take key in `kept`.

        Returns:
            What was removed, sorted.
        """
        removed = [
            path
            for path in self._history()
            if path.stem not in kept and not self._is_current(path)
        ]
        for path in removed:
            path.unlink()
        for shot in {path.parent for path in removed}:
            if not any(shot.iterdir()):
                remove_folder(shot)
        return tuple(removed)

    def _history(self) -> list[Place]:
        """Return all takes of the history, sorted."""
        history = self.folder / "history"
        shots = sorted(_within(history), key=str)
        return [
            path
            for shot in shots
            if shot.is_dir()
            for path in sorted(_within(shot), key=str)
            if path.suffix == ".parquet"
        ]

    def _is_current(self, path: Place) -> bool:
        """Tell whether a take of the history is its shot's current one."""
        current = _whole_take(self.take(path.parent.name))
        return current is not None and _keys(current).take == path.stem


def stores_below(out: Place) -> tuple[Store, ...]:
    """Return the sequences that lie in an output folder, or the one that it is."""
    folders = [out, *sorted(_within(out), key=str)]
    return tuple(
        Store(folder=folder) for folder in folders if (folder / "takes").is_dir()
    )


def _within(folder: Place) -> list[Place]:
    """Return what lies in a folder; nothing where there is no folder."""
    return list(folder.iterdir()) if folder.is_dir() else []


def _whole_take(path: Place) -> pa.Table | None:
    """Return a take, or None where there is none that is whole."""
    try:
        return read_take(path)
    except InputError:
        return None


def _keys(table: pa.Table) -> Keys:
    return take_metadata(table).keys
