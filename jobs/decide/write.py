"""Writes decisions into the text of a job, which otherwise stays to the letter."""

import tomllib
from collections.abc import Callable, Iterator, Sequence
from copy import deepcopy
from dataclasses import dataclass
from itertools import takewhile
from pathlib import Path
from typing import Any

from ..errors import Fault, InputError, JobError
from ..job.carry import AcceptSpec
from ..job.crew_files import read_crew_files
from ..job.intents import with_intents_file
from ..job.load import MAX_BYTES
from ..job.parse import parse_job
from ..job.plain_file import read_plain, tables_of
from ..places.atomic import write_whole
from .notes import Decision, Notes
from .toml_text import (
    Pair,
    Table,
    changed,
    items_inside,
    line_end,
    pairs_inside,
    tables_in,
    written,
)

Edit = tuple[int, int, str]


@dataclass(frozen=True, kw_only=True, slots=True)
class _ShotText:
    """Where one shot stands in the text of a job."""

    text: str
    main: Table
    below: tuple[Table, ...]

    def pair(self, *path: str) -> Pair | None:
        """Return one of the shot's own pairs."""
        return next((one for one in self.main.pairs if one.path == path), None)

    def table(self, name: str) -> Table | None:
        """Return the first table below the shot that has a header of its own."""
        path = ("shots", name)
        return next((one for one in self.below if one.path == path), None)

    def remarks(self) -> list[str]:
        """Return the lines of remarks right below the shot's own pairs."""
        lines = self.text[line_end(self.text, self.main.end) :].splitlines()[1:]
        return [line.strip() for line in takewhile(_is_remark, lines)]

    def line(self, words: str, table: Table | None = None) -> Edit:
        """Return the edit that puts a line below the pairs of a table."""
        own = self.main if table is None else table
        at = line_end(self.text, own.end)
        newline = "\r\n" if "\r\n" in self.text else "\n"
        return (at, at, newline + words)


def decide(job: Path, notes: Notes) -> list[str]:
    """Write decisions into a job.

    Args:
        job: the file, TOML.
        notes: what was decided.

    Returns:
        What was written, a line each; where it is empty the file is as it was.

    Raises:
        InputError: the job cannot be read, or is not TOML.
        JobError: the job is wrong as it is, or would be; it names every fault, and
            nothing is written.
        OSError: the file could not be written.
    """
    if job.suffix.lower() != ".toml":
        raise InputError(str(job), "only a job in TOML takes notes")
    raw = read_plain(job, most_bytes=MAX_BYTES)
    tables = tables_of(raw, suffix=".toml", label=str(job), most_bytes=MAX_BYTES)
    crews = read_crew_files(tables, job.parent)
    parse_job(with_intents_file(tables, job.parent), crews)
    text, told = _decided(raw.decode("utf-8"), tables, notes)
    if text.encode() == raw:
        return []
    decided = tomllib.loads(text.removeprefix("\ufeff"))
    parse_job(with_intents_file(decided, job.parent), crews)
    write_whole(job, text.encode())
    return told


def _decided(text: str, tables: dict[str, Any], notes: Notes) -> tuple[str, list[str]]:
    """Return the text of a job with decisions, and what was written.

    Raises:
        JobError: the notes are not of this job, or the text cannot take them.
    """
    _refuse_others(tables, notes)
    body = text.removeprefix("\ufeff")
    shots = list(_shots_in(body))
    numbered = {shot["name"].lower(): k for k, shot in enumerate(tables["shots"])}
    wanted = deepcopy(tables)
    edits: list[Edit] = []
    told = []
    for decision in notes.decisions:
        k = numbered[decision.shot.lower()]
        for words, change in _changes(decision, tables["shots"][k]):
            made = change(shots[k], wanted["shots"][k])
            edits += made
            if made:
                told.append(f"{decision.shot}: {words}")
    new = changed(body, edits)
    if tomllib.loads(new) != wanted:
        message = "cannot take these notes without a change of what else it says"
        raise JobError((Fault(path="shots", message=message),))
    return text[: len(text) - len(body)] + new, told


def _refuse_others(tables: dict[str, Any], notes: Notes) -> None:
    """Refuse notes of another sequence, or of shots that the job does not have."""
    if notes.sequence != tables["sequence"]:
        message = f"is {notes.sequence}, the job is of {tables['sequence']}"
        raise JobError((Fault(path="sequence", message=message),))
    names = {shot["name"].lower() for shot in tables["shots"]}
    faults = [
        Fault(path=f"decisions[{k}].shot", message=f"the job has no shot {one.shot}")
        for k, one in enumerate(notes.decisions)
        if one.shot.lower() not in names
    ]
    if faults:
        raise JobError(tuple(faults))


def _shots_in(text: str) -> Iterator[_ShotText]:
    """Yield the shots of a job's text, in their order.

    Raises:
        JobError: they stand in one list without headers of their own.
    """
    tables = tables_in(text)
    starts = [
        k for k, one in enumerate(tables) if one.listed and one.path == ("shots",)
    ]
    if not starts:
        message = "must stand under [[shots]], each, for notes to be written into them"
        raise JobError((Fault(path="shots", message=message),))
    for k, end in zip(starts, [*starts[1:], len(tables)], strict=True):
        below = [one for one in tables[k + 1 : end] if one.path[:1] == ("shots",)]
        yield _ShotText(text=text, main=tables[k], below=tuple(below))


def _is_remark(line: str) -> bool:
    return line.lstrip().startswith("#")


def _printed(words: str) -> str:
    """Return a line without what a remark must not hold."""
    return "".join(each if each.isprintable() else " " for each in words)


Change = Callable[[_ShotText, dict[str, Any]], list[Edit]]
"""Returns the edits of a shot's text, and makes the same change in its table."""


def _changes(
    decision: Decision, before: dict[str, Any]
) -> Iterator[tuple[str, Change]]:
    """Yield what a decision changes, in words and as a change."""
    if decision.lens_mm is not None:
        yield f"lens {decision.lens_mm:g} mm", _setting("lens_mm", decision.lens_mm)
    if decision.size is not None:
        yield f"size {decision.size}", _sizing(decision.size)
    if decision.intent is not None:
        yield f"intent {decision.intent}", _setting("intent", decision.intent)
    if decision.lock:
        assert decision.take_key is not None
        yield "take locked", _setting("lock", decision.take_key)
    elif decision.lock is not None and "lock" in before:
        yield "lock removed", _unlock
    known = [one["finding"] for one in before.get("accept", ())]
    new = [one for one in decision.accept if one.finding not in known]
    if new:
        names = ", ".join(one.finding.replace("_", " ") for one in new)
        yield f"accepted: {names}", _accepting(new)
    by = f" by {decision.by}" if decision.by else ""
    if decision.approve:
        yield "approved", _remark([f"approved{by}: take {decision.take_key}"])
    if decision.note:
        first, *rest = decision.note.splitlines()
        yield "note", _remark([f"note{by}: {first}", *rest])


def _setting(name: str, value: str | float) -> Change:
    def change(shot: _ShotText, table: dict[str, Any]) -> list[Edit]:
        if table.get(name) == value:
            return []
        table[name] = value
        pair = shot.pair(name)
        if pair is None:
            return [shot.line(f"{name} = {written(value)}")]
        return [(pair.value_start, pair.end, written(value))]

    return change


def _unlock(shot: _ShotText, table: dict[str, Any]) -> list[Edit]:
    del table["lock"]
    pair = shot.pair("lock")
    if pair is None:
        return []
    end = line_end(shot.text, pair.end)
    # With its line break, so that no empty line is left.
    end += len("\r\n") if shot.text.startswith("\r\n", end) else len("\n")
    return [(pair.start, min(end, len(shot.text)), "")]


def _sizing(size: str) -> Change:
    pair_words = f"size = {written(size)}"

    def change(shot: _ShotText, table: dict[str, Any]) -> list[Edit]:
        framing = table.setdefault("framing", {})
        if framing.get("size") == size:
            return []
        framing.pop("fill", None)
        framing["size"] = size
        own = shot.table("framing")
        if own is not None:
            said = {one.path: one for one in own.pairs}
            old = said.get(("size",)) or said.get(("fill",))
            return [_instead(old, pair_words) or shot.line(pair_words, own)]
        dotted = [one for one in shot.main.pairs if one.path[:1] == ("framing",)]
        inline = shot.pair("framing")
        if inline is not None:
            inside = pairs_inside(shot.text, inline)
            said = {one.path: one for one in inside}
            old = said.get(("size",)) or said.get(("fill",))
            start = inline.value_start
            rest = f"{{ {pair_words}, " if inside else f"{{ {pair_words} "
            at = inside[0].start if inside else inline.end - 1
            return [_instead(old, pair_words) or (start, at, rest)]
        if dotted:
            said = {one.path[1:]: one for one in dotted}
            old = said.get(("size",)) or said.get(("fill",))
            words = f"framing.{pair_words}"
            return [_instead(old, words) or shot.line(words)]
        return [shot.line(f"framing = {{ {pair_words} }}")]

    return change


def _instead(old: Pair | None, words: str) -> Edit | None:
    return None if old is None else (old.start, old.end, words)


def _accepting(new: Sequence[AcceptSpec]) -> Change:
    rows = [
        ", ".join(f"{k} = {written(v)}" for k, v in one.model_dump().items())
        for one in new
    ]

    def change(shot: _ShotText, table: dict[str, Any]) -> list[Edit]:
        accepted = table.setdefault("accept", [])
        accepted.extend(one.model_dump() for one in new)
        items = [f"{{ {row} }}" for row in rows]
        pair, own = shot.pair("accept"), shot.table("accept")
        if own is not None:
            last = next(t for t in reversed(shot.below) if t.path == own.path)
            blocks = [f"\n[[shots.accept]]\n{block}" for block in _blocks(new)]
            return [shot.line("\n".join(blocks), last)]
        if pair is None:
            return [shot.line(f"accept = [{', '.join(items)}]")]
        ends = list(items_inside(shot.text, pair))
        words = ", ".join(items)
        if ends:
            return [(ends[-1], ends[-1], f", {words}")]
        return [(pair.value_start + 1, pair.value_start + 1, words)]

    return change


def _blocks(new: Sequence[AcceptSpec]) -> Iterator[str]:
    for one in new:
        yield "\n".join(f"{k} = {written(v)}" for k, v in one.model_dump().items())


def _remark(lines: Sequence[str]) -> Change:
    def change(shot: _ShotText, table: dict[str, Any]) -> list[Edit]:
        del table
        said = [f"# {_printed(one)}".rstrip() for one in lines]
        known = shot.remarks()
        return [shot.line(words) for words in said if words not in known]

    return change
