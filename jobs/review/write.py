"""Writes the review of a sequence from what was written of it, and nothing else."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import partial
from typing import NamedTuple

from ..errors import InputError
from ..places.atomic import write_whole
from ..places.place import Place, bytes_of, size_of
from ..processes.boundary import guarded
from ..processes.pool import n_processors, runner
from ..takes.store import Store
from ..takes.take_file import read_take
from .cut_page import DATA, cut_page
from .index_page import index_page
from .record import kept_of, page_key, recorded
from .rows import Rows, SequenceRow, read_rows
from .shell import OWN_PAGES, page_name
from .shot_page import IndexedTake, ShotPage, shot_page
from .shown import NAMES, READ, Shown, shown_of
from .since import ShotChange, changes_since

Progress = Callable[[object, int], None]
"""Called with how many pages are written, and how many there are in all."""

_AT_ONCE = 8  # pages that a process is told to write together
_WORTH_A_POOL = 200  # pages; fewer are written before the processes have started


class PageTask(NamedTuple):
    """A page to be written: its shot's row, its neighbours, what is another of it."""

    folder: Place
    row: SequenceRow
    before: str | None
    after: str | None
    changes: tuple[str, ...]
    people: tuple[str, ...]


class WrittenPage(NamedTuple):
    """A page that is written, and what other pages keep of it."""

    shot: str
    kept: IndexedTake | None


WritePages = Callable[[Sequence[PageTask]], Iterable[WrittenPage]]
"""Writes pages, in any order: `write_with`, or a pool that is open anyway."""


def write_with(workers: int | None = 1) -> WritePages:
    """Return what writes pages in some processes.

    Args:
        workers: processes, >= 1; one is this process. None for one a processor, or
            one where there are few pages.
    """

    def write(tasks: Sequence[PageTask]) -> Iterator[WrittenPage]:
        few = len(tasks) < _WORTH_A_POOL
        count = (1 if few else n_processors()) if workers is None else workers
        with runner(None, count, preload=(__name__,)) as run:
            yield from run(write_page, tasks, lost=write_page, at_once=_AT_ONCE)

    return write


def write_review(
    folder: Place,
    *,
    progress: Progress | None = None,
    write: WritePages | None = None,
) -> Place:
    """Write the pages of a sequence that are not as they would be.

    Where the sequence has other rows afterwards it is done again. So of parts of a run
    that end together, whoever writes last has seen all rows.

    Args:
        folder: of the sequence.
        progress: called as each page is written.
        write: how pages are written, absent: one by one; their bytes are the same.

    Returns:
        Where the index lies.

    Raises:
        InputError: the sequence's rows cannot be read.
        OSError: a file could not be written.
    """
    table = folder / "sequence.parquet"
    while True:
        known = bytes_of(table)
        rows = read_rows(table)
        if not rows.now:
            raise InputError(str(table), "has no shots yet")
        index = _write_pages(folder, rows, progress=progress, write=write)
        if bytes_of(table) == known:
            return index
        progress = None


def _write_pages(
    folder: Place,
    found: Rows,
    *,
    progress: Progress | None,
    write: WritePages | None,
) -> Place:
    rows = found.now
    # None: there was no solve before.
    changes = changes_since(rows, found.before) if found.before else None
    kept: dict[str, IndexedTake] = {}
    tasks = []
    n_steps, n_done = len(rows) + 1, 0

    def done(shot: str, own: IndexedTake | None) -> None:
        nonlocal n_done
        n_done += 1
        if own is not None:
            kept[shot] = own
        if progress is not None:
            progress(n_done, n_steps)

    for task in _tasks(folder, rows, changes or (), found.people):
        own = None if task.row.failed else kept_of(_page(task), partial(_key, task))
        if own is not None and size_of(_data(task)) != own.script_bytes:
            own = None
        if own is None:
            tasks.append(task)
        else:
            done(task.row.shot, own)
    for written in (write or write_with())(tasks):
        done(*written)
    pages = folder / "review"
    _remove_others(pages, [*found.named, *(row.shot for row in rows)])
    index = pages / "index.html"
    people = found.people
    played = cut_page(
        rows, kept, clock=found.clock, people=people, actions=found.actions
    )
    _write(pages / "cut.html", played.encode(), flush=False)
    text = index_page(
        rows,
        kept,
        changes=changes,
        people=people,
    )
    _write(index, text.encode(), flush=True)
    if progress is not None:
        progress(n_steps, n_steps)
    return index


def write_page(work: object, task: PageTask) -> WrittenPage:
    """Write the page of one shot.

    Args:
        work: what the pool that this runs in was started with; not looked at.
        task: the page.
    """
    row = task.row

    def drawn() -> list[ShotPage]:
        return [_drawn(task, _take(task.folder, row), ())]

    found = guarded(drawn, "the page's drawings")
    if isinstance(found, tuple):  # the take is whole; the page says what it lacks
        found = [_drawn(task, None, tuple(map(str, found)))]
    (made,) = found
    kept = None if row.failed else made.kept
    if kept is None:
        _data(task).unlink(missing_ok=True)
    else:
        _write(_data(task), made.script.encode(), flush=False)
    _write(_page(task), recorded(made.text, _key(task), kept), flush=False)
    return WrittenPage(row.shot, kept)


def _drawn(task: PageTask, shown: Shown | None, more: tuple[str, ...]) -> ShotPage:
    return shot_page(
        task.row,
        shown,
        before=task.before,
        after=task.after,
        changes=(*task.changes, *more),
        people=task.people,
    )


def _tasks(
    folder: Place,
    rows: Sequence[SequenceRow],
    changes: Sequence[ShotChange],
    people: tuple[str, ...],
) -> Iterator[PageTask]:
    by_shot = {change.shot: change for change in changes}
    names = [row.shot for row in rows]
    around = zip([None, *names], [*names[1:], None], strict=False)
    for row, (before, after) in zip(rows, around, strict=True):
        change = by_shot.get(row.shot)
        said = () if change is None else (*change.lines, *change.setup)
        yield PageTask(folder, row, before, after, said, people)


def _key(task: PageTask) -> str:
    """Return the key of a page's record."""
    return page_key(
        task.row,
        take_bytes=size_of(_take_path(task.folder, task.row)),
        before=task.before,
        after=task.after,
        changes=task.changes,
        people=task.people,
    )


def _data(task: PageTask) -> Place:
    return task.folder / "review" / DATA / f"{task.row.shot}.js"


def _page(task: PageTask) -> Place:
    return task.folder / "review" / page_name(task.row.shot)


def _write(path: Place, data: bytes, *, flush: bool) -> None:
    """Write a page, unless it is there as it would be written."""
    if size_of(path) != len(data) or bytes_of(path) != data:
        # A page that a fall of the machine cuts short is known by its length.
        write_whole(path, data, flush=flush)


def _take_path(folder: Place, row: SequenceRow) -> Place:
    """Return where the take of a row lies; of a failed shot, the one it had before."""
    return Store(folder=folder).take_of(row.shot, row.plain["take_key"])


def _take(folder: Place, row: SequenceRow) -> Shown | None:
    """Return the take of a row, None where there is none that is whole."""
    try:
        table = read_take(_take_path(folder, row), columns=(*READ, *NAMES))
    except InputError:
        return None
    shown = shown_of(table)
    key = shown.metadata.keys.take
    return shown if row.failed or key == row.plain["take_key"] else None


def _remove_others(pages: Place, names: list[str]) -> None:
    """Remove pages and data of shots that the sequence no longer has."""
    wanted = {page_name(name) for name in [*names, *OWN_PAGES]}
    wanted |= {f"{name}.html" for name in OWN_PAGES} | {f"{name}.js" for name in names}
    for folder, suffix in ((pages, ".html"), (pages / DATA, ".js")):
        for path in folder.iterdir() if folder.is_dir() else ():
            if path.suffix == suffix and path.name not in wanted:
                path.unlink(missing_ok=True)
