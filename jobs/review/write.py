"""Writes the review of a sequence from what was written of it, and nothing else."""

from collections.abc import Callable, Collection
from pathlib import Path

import pyarrow as pa

from ..atomic import write_whole
from ..errors import InputError
from ..previous import note_reported, previous_path
from ..takes import read_take, take_metadata
from .index_page import index_page
from .rows import SequenceRow, read_rows
from .shell import page_name
from .shot_page import Kept, shot_page
from .since import ShotChange, changes_since

Progress = Callable[[object, int], None]
"""Called with how many pages are written, and how many there are in all."""


def report(
    folder: Path, shots: Collection[str], *, progress: Progress | None = None
) -> Path:
    """Write the review after a run, with what changed since the one before.

    Args:
        folder: of the sequence.
        shots: names of the shots that were solved in the run.
        progress: called as each page is written.

    Returns:
        Where the index lies.

    Raises:
        InputError: the sequence's rows cannot be read.
        OSError: a file could not be written.
    """
    note_reported(folder, shots)
    return write_review(folder, progress=progress)


def write_review(folder: Path, *, progress: Progress | None = None) -> Path:
    """Write the pages of a sequence anew; see `report`."""
    rows = read_rows(folder / "sequence.parquet")
    if not rows:
        raise InputError(str(folder / "sequence.parquet"), "has no shots yet")
    changes = _changes(folder, rows)
    by_shot = {change.shot: change for change in changes or ()}
    kept: dict[str, Kept] = {}
    names = [row.shot for row in rows]
    around = zip([None, *names], [*names[1:], None], strict=False)
    pages = folder / "review"
    for k, (row, (before, after)) in enumerate(zip(rows, around, strict=True)):
        table = _take(folder, row)
        change = by_shot.get(row.shot)
        text, own = shot_page(
            row,
            table,
            before=before,
            after=after,
            changes=() if change is None else (*change.lines, *change.setup),
        )
        if own is not None and not row.failed:
            kept[row.shot] = own
        _write(pages / page_name(row.shot), text)
        if progress is not None:
            progress(k + 1, len(rows) + 1)
    _remove_others(pages, names)
    index = pages / "index.html"
    _write(index, index_page(rows, kept, changes=changes))
    if progress is not None:
        progress(len(rows) + 1, len(rows) + 1)
    return index


def _write(path: Path, text: str) -> None:
    """Write a page, unless it is there as it would be written."""
    data = text.encode()
    if not path.is_file() or path.read_bytes() != data:
        write_whole(path, data)


def _changes(folder: Path, rows: list[SequenceRow]) -> list[ShotChange] | None:
    """Return what changed since the last solve; None where there was none."""
    path = previous_path(folder)
    return changes_since(rows, read_rows(path)) if path.is_file() else None


def _take(folder: Path, row: SequenceRow) -> pa.Table | None:
    """Return the current take of a shot, None where it has none that is whole."""
    try:
        table = read_take(folder / "takes" / f"{row.shot}.parquet")
    except InputError:
        return None
    keys = take_metadata(table)["keys"]
    return table if row.failed or keys["take"] == row.plain["take_key"] else None


def _remove_others(pages: Path, names: list[str]) -> None:
    """Remove pages of shots that the sequence no longer has."""
    wanted = {page_name(name) for name in names} | {"index.html"}
    for path in pages.glob("*.html"):
        if path.name not in wanted:
            path.unlink()
