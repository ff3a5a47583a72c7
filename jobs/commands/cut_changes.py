"""What a new cut did to an old one, shot by shot, and the job that goes on with it.

A shot is known by its media and, of several from the same media, by the frames that it
shares with the old one. What was decided for a shot goes on with it.
"""

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from ..coverage.cutlist import CutEvent, CutList
from ..job.rate import rate_text

Change = Literal["same", "moved", "shifted", "retimed", "new"]
_CUT_SAYS = ("name", "frames", "handles")


@dataclass(frozen=True, kw_only=True, slots=True)
class CutShotChange:
    """One shot of a new cut.

    Attributes:
        shot: as it is now.
        old: the shot that it was; None where it is new.
        change: `same`; `moved` to another place of the cut; `shifted`: other frames of
            its media; `retimed`: another speed; `new`.
    """

    shot: CutEvent
    old: CutEvent | None
    change: Change


@dataclass(frozen=True, kw_only=True, slots=True)
class CutChanges:
    """A new cut against an old one.

    Attributes:
        shots: of the new cut, in order.
        gone: shots of the old one that are in no place of the new.
    """

    shots: tuple[CutShotChange, ...]
    gone: tuple[CutEvent, ...]


def changes_between(new: CutList, old: CutList) -> CutChanges:
    """Return what became of each shot."""
    pairs = sorted(
        (
            (-_kinship(one, other), i, j)
            for i, one in enumerate(new.shots)
            for j, other in enumerate(old.shots)
            if one.media == other.media
        ),
    )
    matched: dict[int, int] = {}
    for _, i, j in pairs:
        if i not in matched and j not in matched.values():
            matched[i] = j
    shots = []
    for i, shot in enumerate(new.shots):
        was = old.shots[matched[i]] if i in matched else None
        shots.append(CutShotChange(shot=shot, old=was, change=_change(shot, was)))
    left = [one for j, one in enumerate(old.shots) if j not in matched.values()]
    return CutChanges(shots=tuple(shots), gone=tuple(left))


def _kinship(one: CutEvent, other: CutEvent) -> float:
    """Return how many frames two shots of one media share; names settle a tie."""
    first = max(one.frames[0], other.frames[0])
    last = min(one.frames[1], other.frames[1])
    return max(0, last - first + 1) + 0.5 * (one.name == other.name)


def _change(shot: CutEvent, was: CutEvent | None) -> Change:
    if was is None:
        return "new"
    if shot.speed != was.speed:
        return "retimed"
    if shot.frames != was.frames:
        return "shifted"
    return "same" if shot.record == was.record else "moved"


def change_lines(changes: CutChanges) -> Iterator[str]:
    """Yield a line a shot, and one for each that is gone."""
    for one in changes.shots:
        yield f"{one.shot.name}: {_words(one)}"
    for gone in changes.gone:
        yield f"{gone.name}: gone"


def _words(one: CutShotChange) -> str:
    shot, was = one.shot, one.old
    if was is None:
        return "new"
    name = "" if was.name == shot.name else f" (was {was.name})"
    if one.change == "retimed":
        return f"retimed to {shot.speed:g} of its speed, was {was.speed:g}{name}"
    if one.change == "shifted":
        head = shot.frames[0] - was.frames[0]
        tail = shot.frames[1] - was.frames[1]
        return f"shifted, in {head:+d}, out {tail:+d} frames{name}"
    if one.change == "moved":
        return f"moved by {shot.record - was.record:+d} frames in the cut{name}"
    return f"same{name}"


def carried_job(
    tables: Mapping[str, Any], cut: CutList, changes: CutChanges
) -> tuple[dict[str, Any], list[str]]:
    """Return the job of an old cut as one of the new, and what did not go on.

    A lock goes on where the locked take has all frames that the new cut asks for.

    Args:
        tables: of the old job, as they stand in its file.
        cut: the new cut.
        changes: against the old one.
    """
    known = {
        str(one.get("name", "")).lower(): one
        for one in tables.get("shots", ())
        if isinstance(one, dict)
    }
    shots, notes = [], []
    for one in changes.shots:
        was = known.get(one.old.name.lower()) if one.old is not None else None
        table = {} if was is None else dict(was)
        if one.old is not None and was is None:
            notes.append(f"{one.old.name} is not in the job, so nothing goes on")
        if "lock" in table and not _covers(was or {}, one.shot):
            del table["lock"]
            notes.append(f"{one.shot.name}: its lock is left out, it lacks frames")
        if one.change == "retimed":
            notes.append(
                f"{one.shot.name} is retimed; solve it after the retime is baked"
            )
        said = {
            "name": one.shot.name,
            "frames": list(one.shot.frames),
            "handles": list(one.shot.handles),
        }
        shots.append({**said, **{k: v for k, v in table.items() if k not in _CUT_SAYS}})
    whole = dict(tables)
    whole["rate"] = rate_text(cut.rate)
    if cut.timecode is not None:
        whole["timecode"] = cut.timecode
    whole["shots"] = shots
    return whole, notes


def _covers(was: Mapping[str, Any], shot: CutEvent) -> bool:
    """Tell whether the old shot was solved for all frames that the new one has."""
    first, last = was.get("frames", (0, -1))
    handles = was.get("handles", 0)
    before, after = (handles, handles) if isinstance(handles, int) else handles
    starts = first - before <= shot.frames[0] - shot.handles[0]
    ends = last + after >= shot.frames[1] + shot.handles[1]
    return bool(starts and ends)


def job_toml(tables: Mapping[str, Any]) -> str:
    """Return the tables of a job as TOML; inner tables stand in a line."""
    plain = {
        k: v for k, v in tables.items() if not isinstance(v, dict) and k != "shots"
    }
    lines = [f"{_key(name)} = {_value(value)}" for name, value in plain.items()]
    for name, table in tables.items():
        if isinstance(table, dict):
            lines += ["", f"[{_key(name)}]", *_pairs(table)]
    for shot in tables.get("shots", ()):
        lines += ["", "[[shots]]", *_pairs(shot)]
    return "\n".join(lines) + "\n"


def _pairs(table: Mapping[str, Any]) -> list[str]:
    return [f"{_key(name)} = {_value(value)}" for name, value in table.items()]


def _key(name: str) -> str:
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else _value(name)


def _value(value: Any) -> str:
    if isinstance(value, Mapping):
        return f"{{ {', '.join(_pairs(value))} }}" if value else "{}"
    if isinstance(value, Sequence) and not isinstance(value, str):
        return f"[{', '.join(map(_value, value))}]"
    if isinstance(value, float):
        return repr(value)
    # Texts and whole numbers are written in TOML as in JSON, but for one character.
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
