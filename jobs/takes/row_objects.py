"""One object a shot: what came of it now, when it was last reported, and before that.

    OUT/<sequence>/rows/<shot>.<number>.<digest>.json

An object is never changed: whoever solves a shot puts the next number and removes the
ones below. So the names that lie in the folder say exactly what is in it, and who has
listed the same names twice knows that nothing happened in between.
"""

import json
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, fields
from typing import Any, NamedTuple

from ..places.atomic import write_all
from ..places.place import Place, read_all
from .continuity import CutEntry, plain_fields
from .keys import canonical, digest
from .sequence_table import ShotRow

ROW_SCHEMA = "carrellata.row/1"

_DIGITS = 16  # of the digest, hexadecimal
_SUFFIX = ".json"


@dataclass(frozen=True, kw_only=True, slots=True)
class Solve:
    """What came of one solve of a shot, and what the job said of the shot then."""

    row: ShotRow
    entry: CutEntry


@dataclass(frozen=True, kw_only=True, slots=True)
class ShotSolves:
    """The solves of one shot that count.

    Attributes:
        now: the last one, of a whole run or not.
        reported: the last one of a run that came to its end; None where none did.
        before: the one reported before that; None where there is none.
    """

    now: Solve
    reported: Solve | None = None
    before: Solve | None = None

    def as_reported(self, *, again: bool) -> "ShotSolves":
        """Return the solves after the run of the last one has come to its end.

        Args:
            again: whether this may have been said of the same run before.
        """
        if again and self.reported == self.now:
            return self
        return ShotSolves(now=self.now, reported=self.now, before=self.reported)

    def json(self) -> bytes:
        """Return the solves as they are written; equal ones give equal bytes."""
        solves = {one.name: _plain(getattr(self, one.name)) for one in fields(self)}
        return canonical({"schema": ROW_SCHEMA, **solves}).encode()


class RowName(NamedTuple):
    """The name of an object: which shot's, and the how manieth it is."""

    shot: str
    number: int
    digest: str

    @property
    def file(self) -> str:
        """The name as it is written."""
        return f"{self.shot}.{self.number:06d}.{self.digest}{_SUFFIX}"


def row_names(folder: Place) -> dict[str, RowName]:
    """Return the names of the objects that count, by shot: the highest numbers."""
    found: dict[str, RowName] = {}
    for name in sorted(_names(folder)):
        if name.shot not in found or found[name.shot] < name:
            found[name.shot] = name
    return found


def read_solves(
    folder: Place, names: Iterable[RowName]
) -> dict[RowName, ShotSolves | None]:
    """Return what objects say, None for one that is damaged.

    Objects that are no longer there are left out.

    Raises:
        OSError: an object store does not give them.
    """
    asked = list(names)
    found = read_all([folder / name.file for name in asked])
    return {
        name: _solves(data)
        for name, data in zip(asked, found, strict=True)
        if data is not None
    }


def put_solves(folder: Place, solves: Mapping[str, ShotSolves]) -> None:
    """Make these the solves of their shots.

    Args:
        folder: of the objects.
        solves: by name of the shot.

    Raises:
        OSError: some could not be written; those of other shots may have been.
    """
    there = _names(folder)
    written, replaced = {}, []
    for shot, one in solves.items():
        own = [name for name in there if name.shot == shot]
        data = one.json()
        short = digest(data.decode())[:_DIGITS]
        if own and max(own).digest == short:
            continue
        number = 1 + max((name.number for name in own), default=0)
        written[folder / RowName(shot, number, short).file] = data
        replaced += own
    # Where a loss of power spoils one, the table has the row.
    write_all(written, flush=False)
    for name in replaced:
        (folder / name.file).unlink(missing_ok=True)


def remove_others(folder: Place, shots: Collection[str]) -> None:
    """Remove the objects of shots that are not named."""
    for name in _names(folder):
        if name.shot not in shots:
            (folder / name.file).unlink(missing_ok=True)


def _names(folder: Place) -> list[RowName]:
    if not folder.is_dir():
        return []
    found = []
    for place in folder.iterdir():
        shot, *rest = place.name.removesuffix(_SUFFIX).split(".")
        if place.suffix == _SUFFIX and len(rest) == 2 and rest[0].isdigit():
            found.append(RowName(shot, int(rest[0]), rest[1]))
    return found


def _plain(one: Solve | None) -> dict[str, Any] | None:
    """Return a solve as it is written, in which nothing is copied."""
    if one is None:
        return None
    return {"row": plain_fields(one.row), "entry": plain_fields(one.entry)}


def _solves(data: bytes) -> ShotSolves | None:
    try:
        values = json.loads(data)
        if values.pop("schema") != ROW_SCHEMA:
            return None
        return ShotSolves(**{name: _solve(one) for name, one in values.items()})
    except (ValueError, KeyError, TypeError, AttributeError):
        return None


def _solve(values: dict[str, Any] | None) -> Any:
    if values is None:
        return None
    return Solve(row=ShotRow(**values["row"]), entry=CutEntry(**values["entry"]))
