"""Two solves of a sequence side by side: what changed, by how much, what is new.

Each side is a folder of a sequence; the second may be the rows before the last solve
of the first. Takes are compared on the frames that both have.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ...solver.arrays import FloatArray
from ..errors import InputError
from ..places.place import Place
from ..takes.metadata import take_metadata
from ..takes.sequence_table import MEASURES, NAMES_IN_THE_WAY
from ..takes.store import Store
from .rows import FindingRow, SequenceRow, read_rows
from .since import finding_changes
from .words import setup_changes

ADDED, REMOVED, CHANGED, SAME = "added", "removed", "changed", "same"


@dataclass(frozen=True, kw_only=True, slots=True)
class Side:
    """One solve of a sequence.

    Attributes:
        store: where its takes lie.
        label: what it is called.
        rows: of its shots, read at one moment.
        before: those before the last solve of each shot, of the same moment.
    """

    store: Store
    label: str
    rows: Sequence[SequenceRow]
    before: Sequence[SequenceRow] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class Difference:
    """One shot, before and after.

    Attributes:
        shot: its name.
        kind: `added`, `removed`, `changed` or `same`.
        status: before and after; None on the side that does not have the shot.
        setup: what is another in the setup, a phrase each.
        new: findings that the solve before has not, or not of this severity.
        gone: those that only the solve before has.
        measures: before and after, of the numbers that are not equal.
        camera_m: the farthest that the lens is from where it was; None where the
            takes have no frame in common or are not there.
        pan_deg: the most that the pan differs, likewise.
        tilt_deg: the most that the tilt differs, likewise.
    """

    shot: str
    kind: str
    status: tuple[str | None, str | None]
    setup: tuple[str, ...] = ()
    new: tuple[FindingRow, ...] = ()
    gone: tuple[FindingRow, ...] = ()
    measures: dict[str, tuple[float | None, float | None]]
    camera_m: float | None = None
    pan_deg: float | None = None
    tilt_deg: float | None = None

    def plain(self) -> dict[str, Any]:
        """Return the difference as plain values."""
        return {
            "shot": self.shot,
            "kind": self.kind,
            "status": list(self.status),
            "setup": list(self.setup),
            "new": [_plain(one) for one in self.new],
            "gone": [_plain(one) for one in self.gone],
            "measures": {name: list(pair) for name, pair in self.measures.items()},
            "camera_m": self.camera_m,
            "pan_deg": self.pan_deg,
            "tilt_deg": self.tilt_deg,
        }


def side_of(folder: Place) -> Side:
    """Return the current solve in a folder of a sequence, or in one that holds it.

    Raises:
        InputError: there is no sequence, or there are several.
    """
    if (folder / "sequence.parquet").is_file():
        return _side(folder)
    below = sorted(folder.iterdir(), key=str) if folder.is_dir() else []
    rows = [one / "sequence.parquet" for one in below if one.is_dir()]
    found = [one for one in rows if one.is_file()]
    if len(found) == 1:
        return _side(found[0].parent)
    message = (
        f"holds {len(found)} sequences; name the folder of one"
        if found
        else "holds no sequence.parquet"
    )
    raise InputError(str(folder), message)


def side_before(side: Side) -> Side:
    """Return the solve before the current one of a folder.

    Raises:
        InputError: it was solved only once.
    """
    if not side.before:
        message = "was solved only once; name a second folder to compare with"
        raise InputError(str(side.store.folder), message)
    label = f"{side.label}, before the last solve"
    return Side(store=side.store, label=label, rows=side.before)


def _side(folder: Place) -> Side:
    store = Store(folder=folder)
    rows = read_rows(store.sequence)
    label = str(store.sequence)
    return Side(store=store, label=label, rows=rows.now, before=rows.before)


def compare(before: Side, after: Side) -> list[Difference]:
    """Return the shots of both solves in the order of the later one's job."""
    old = {row.shot: row for row in before.rows}
    new = {row.shot: row for row in after.rows}
    names = [*new, *(name for name in old if name not in new)]
    return [
        _difference(name, old.get(name), new.get(name), before, after) for name in names
    ]


def _difference(
    shot: str,
    old: SequenceRow | None,
    new: SequenceRow | None,
    before: Side,
    after: Side,
) -> Difference:
    status = tuple(None if row is None else _status(row) for row in (old, new))
    if old is None or new is None:
        one = new or old
        assert one is not None
        return Difference(
            shot=shot,
            kind=ADDED if old is None else REMOVED,
            status=(status[0], status[1]),
            new=one.findings if old is None else (),
            gone=one.findings if new is None else (),
            measures={},
        )
    measures = {
        name: pair
        for name in MEASURES
        if name not in NAMES_IN_THE_WAY
        and (pair := (old.number(name), new.number(name)))[0] != pair[1]
    }
    setup = tuple(setup_changes(old.setup, new.setup))
    fresh, gone = finding_changes(old.findings, new.findings)
    moved = _moved(old, new, before, after)
    differs = fresh or gone or setup or measures or any(moved)
    is_same = status[0] == status[1] and not differs
    return Difference(
        shot=shot,
        kind=SAME if is_same else CHANGED,
        status=(status[0], status[1]),
        setup=setup,
        new=fresh,
        gone=gone,
        measures=measures,
        camera_m=moved[0],
        pan_deg=moved[1],
        tilt_deg=moved[2],
    )


def _status(row: SequenceRow) -> str:
    """Return a status without how the take came to be there."""
    return str(row.plain["status"]) if row.failed else "solved"


def _moved(
    old: SequenceRow, new: SequenceRow, before: Side, after: Side
) -> tuple[float | None, float | None, float | None]:
    """Return by how much lens, pan and tilt differ at most, on frames of both."""
    if old.failed or new.failed:
        return None, None, None
    one, two = _poses(before, old), _poses(after, new)
    if one is None or two is None:
        return None, None, None
    _, here, there = np.intersect1d(one[:, 0], two[:, 0], return_indices=True)
    if not len(here):
        return None, None, None
    apart = np.abs(one[here, 1:] - two[there, 1:])
    # Pan is unwrapped: one take may have come to a direction by the other way round.
    apart[:, 3] = np.abs((apart[:, 3] + 180.0) % 360.0 - 180.0)
    lens = float(np.sqrt((apart[:, :3] ** 2).sum(axis=1)).max())
    return lens, float(apart[:, 3].max()), float(apart[:, 4].max())


def _poses(side: Side, row: SequenceRow) -> FloatArray | None:
    """Return frame, lens [m], pan and tilt [deg] of a row's take, (n, 6)."""
    table = side.store.whole(row.shot, row.plain["take_key"])
    if table is None:
        return None
    whole = table["sub"].to_numpy() == 0
    names = ("frame", "x", "y", "z", "pan_deg", "tilt_deg")
    poses = np.column_stack([table[name].to_numpy()[whole] for name in names])
    poses[:, 1:4] *= take_metadata(table).world.metres(1.0)
    return np.asarray(poses, dtype=np.float64)


def difference_lines(differences: list[Difference]) -> Iterator[str]:
    """Yield what changed, for people, shots with new findings first."""
    width = max((len(one.shot) for one in differences), default=0)
    for one in sorted(differences, key=lambda one: -sum(f.rank for f in one.new)):
        if one.kind != SAME:
            yield f"{one.shot:<{width}}  {one.kind:<7}  {_main_words(one)}".rstrip()
            for finding in one.new:
                yield f"{'':<{width}}  new {finding.severity}: {finding.text}"
            for finding in one.gone:
                yield f"{'':<{width}}  gone: {finding.title} ({finding.severity})"
    kinds = [one.kind for one in differences]
    yield ", ".join(
        f"{kinds.count(kind)} {kind}" for kind in (CHANGED, ADDED, REMOVED, SAME)
    )


def _main_words(one: Difference) -> str:
    words = list(one.setup)
    if one.status[0] != one.status[1] and None not in one.status:
        words.insert(0, f"{one.status[0]} before, {one.status[1]} now")
    if any((one.camera_m, one.pan_deg, one.tilt_deg)):
        words.append(
            f"up to: lens {one.camera_m:.2f} m, pan {one.pan_deg:.1f} deg, tilt "
            f"{one.tilt_deg:.1f} deg apart"
        )
    for name, label, scale, unit in (
        ("head_in_frame", "head in frame", 100.0, " %"),
        ("drift_max", "drift", 1.0, ""),
    ):
        pair = one.measures.get(name)
        if pair is not None and None not in pair:
            old, new = (scale * float(value or 0.0) for value in pair)
            words.append(f"{label} {old:.4g} to {new:.4g}{unit}")
    return "; ".join(words)


def _plain(one: FindingRow) -> dict[str, Any]:
    return {"name": one.name, "severity": one.severity, "text": one.text}
