"""Puts rows into a sequence, and makes its table from the rows that are there.

The table is made from one object a shot (`row_objects`). Parts of a run that end
together each put their own rows, make the table from all that they find, and look
again: where anything was put in the meantime they make it again. So whoever writes
last has seen everything, without anyone waiting for anyone.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence

from ..errors import InputError
from ..job.spec import JobFile
from ..places.atomic import write_whole
from ..places.place import Place, read_all
from .actions import findings_of_actions
from .continuity import CutEntry, PlainFinding, entry_of
from .row_objects import (
    RowName,
    ShotSolves,
    Solve,
    put_solves,
    read_solves,
    remove_others,
    row_names,
)
from .sequence_table import (
    CutClock,
    SequenceTable,
    ShotRow,
    read_table,
    with_findings,
)


def rows_folder(table: Place) -> Place:
    """Return where the rows lie that a sequence's table is made from."""
    return table.parent / "rows"


def merge_sequence(
    path: Place, job: JobFile, rows: Iterable[ShotRow]
) -> tuple[ShotRow, ...]:
    """Put rows into a sequence, in the job's order, and judge its cuts.

    Rows of other shots stay as they are; those of shots that the job does not have
    go. A damaged file is replaced. Every row gets the findings that it has among its
    neighbours of now.

    Args:
        path: of the sequence's table.
        job: the checked job.
        rows: of the shots that were solved.

    Returns:
        All rows as they were written.

    Raises:
        OSError: they could not be written.
    """
    entries = tuple(entry_of(job, spec) for spec in job.shots)
    frames = {spec.name: spec.frames for spec in job.shots}
    by_shot = {entry.shot: entry for entry in entries}
    folder = rows_folder(path)
    solved = {row.shot: Solve(row=row, entry=by_shot[row.shot]) for row in rows}
    known = _known(folder, solved)
    put_solves(
        folder,
        {
            shot: ShotSolves(
                now=now, reported=known[shot].reported, before=known[shot].before
            )
            if shot in known
            else ShotSolves(now=now)
            for shot, now in solved.items()
        },
    )
    remove_others(folder, by_shot)
    clock = CutClock(timecode=job.timecode, frames=frames)
    return _make_table(path, clock, entries)


def note_reported(
    folder: Place, shots: Collection[str], *, again: bool = False
) -> None:
    """Make the rows last reported those before, and the current ones reported.

    Args:
        folder: of the sequence.
        shots: names of the shots that were solved in a run that came to its end; what
            is known of others stays.
        again: whether this may have been said of the same run before.

    Raises:
        InputError: the sequence's table cannot be read.
        OSError: a file could not be written.
    """
    path = folder / "sequence.parquet"
    known = _known(rows_folder(path), shots)
    reported = {shot: one.as_reported(again=again) for shot, one in known.items()}
    put_solves(rows_folder(path), reported)
    table = read_table(path)
    _make_table(path, table.clock, table.entries)


def _known(folder: Place, shots: Collection[str]) -> dict[str, ShotSolves]:
    """Return the solves of some shots; those who ask are the only ones to put them."""
    names = [name for shot, name in row_names(folder).items() if shot in shots]
    found = read_solves(folder, names)
    return {name.shot: one for name, one in found.items() if one is not None}


def _make_table(
    path: Place, clock: CutClock, entries: tuple[CutEntry, ...]
) -> tuple[ShotRow, ...]:
    """Write the table until nothing was put while it was made; return its rows."""
    folder = rows_folder(path)
    read: dict[RowName, ShotSolves | None] = {}
    while True:
        names = row_names(folder)
        read |= read_solves(folder, [n for n in names.values() if n not in read])
        # Another part may have replaced an object between its listing and its reading,
        # or while the folder was listed. A table without that shot's past must not be
        # seen by anybody, not even for a moment.
        if not read.keys() >= set(names.values()) or row_names(folder) != names:
            continue
        solves = {shot: read[name] for shot, name in names.items()}
        covered = findings_of_actions(path.parent, entries)
        table = _table(clock, entries, _with_older(path, entries, solves), covered)
        data = table.bytes()
        if read_all([path]) != [data]:
            write_whole(path, data)
        if row_names(folder) == names:
            return table.rows


def _with_older(
    path: Place, entries: Sequence[CutEntry], solves: dict[str, ShotSolves | None]
) -> list[ShotSolves]:
    """Return the solves of all shots, as the table has them where no object does."""
    found = []
    older: dict[str, ShotRow] | None = None
    for entry in entries:
        one = solves.get(entry.shot)
        if one is None:
            older = _rows_of(path) if older is None else older
            if entry.shot not in older:
                continue
            one = ShotSolves(now=Solve(row=older[entry.shot], entry=entry))
        found.append(one)
    return found


def _rows_of(path: Place) -> dict[str, ShotRow]:
    try:
        return {row.shot: row for row in read_table(path).rows}
    except InputError:
        return {}


def _table(
    clock: CutClock,
    entries: tuple[CutEntry, ...],
    solves: Sequence[ShotSolves],
    covered: Mapping[str, Sequence[PlainFinding]],
) -> SequenceTable:
    """Return the table of a sequence."""
    return SequenceTable(
        clock=clock,
        entries=entries,
        rows=with_findings(entries, [one.now.row for one in solves], covered),
        before=_before(solves),
    )


def _before(solves: Sequence[ShotSolves]) -> tuple[ShotRow, ...]:
    """Return the rows before the last solves, in the order of that time.

    Cuts are judged among the shots as they were then: each before its last solve, or
    as it is where it was solved once. Of the latter, one that has the place of another
    in the cut was not there yet.
    """
    earlier = {one.before.entry.place: one.before for one in solves if one.before}
    if not earlier:
        return ()
    once = {one.now.entry.place: one.now for one in solves if one.before is None}
    then = [one for _, one in sorted({**once, **earlier}.items())]
    changed = {one.row.shot for one in earlier.values()}
    judged = with_findings([one.entry for one in then], [one.row for one in then])
    return tuple(row for row in judged if row.shot in changed)
