"""Where the statements of a TOML text stand, so that one can be changed and no other.

A TOML reader has read the text before, so it is sound; what is told here is only where
each key and value begins and ends. All else, comments, order and spaces, stays to the
letter.
"""

import json
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

_SPACE = re.compile(r"[ \t]*")
_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_KEY = re.compile(r"""[A-Za-z0-9_-]+|"(?:[^"\\\n]|\\.)*"|'[^'\n]*'""")
_STRING = re.compile(
    r'"""(?:[^"\\]|\\[\s\S]|"{1,2}(?!"))*"{3,5}|'
    r"'''(?:[^']|'{1,2}(?!'))*'{3,5}|"
    r'"(?:[^"\\\n]|\\.)*"|'
    r"'[^'\n]*'"
)
_PLAIN = re.compile(r"[^\"'\[\]{},#\n]+")


@dataclass(frozen=True, kw_only=True, slots=True)
class Pair:
    """One `key = value`: its key's parts, and where key and value stand in the text."""

    path: tuple[str, ...]
    start: int
    value_start: int
    end: int


@dataclass(frozen=True, kw_only=True, slots=True)
class Table:
    """A table as it stands in a text.

    Attributes:
        path: the parts of its header's key; empty for what stands before any header.
        listed: the header has two brackets: one more table of a list.
        end: where its last pair ends, or its header where it has none.
        pairs: in their order.
    """

    path: tuple[str, ...]
    listed: bool
    end: int
    pairs: tuple[Pair, ...]


def tables_in(text: str) -> list[Table]:
    """Return the tables of a sound TOML text, in their order."""
    tables: list[Table] = []
    path: tuple[str, ...] = ()
    listed, end, pairs = False, 0, list[Pair]()
    at = _skipped(text, 0)
    while at < len(text):
        if text[at] == "[":
            tables.append(Table(path=path, listed=listed, end=end, pairs=tuple(pairs)))
            listed, pairs = text.startswith("[[", at), []
            path, at = _key(text, at + 1 + listed)
            at = end = text.index("]", at) + 1 + listed
        else:
            pair = _pair(text, at)
            pairs.append(pair)
            at = end = pair.end
        at = _skipped(text, at)
    tables.append(Table(path=path, listed=listed, end=end, pairs=tuple(pairs)))
    return tables


def pairs_inside(text: str, pair: Pair) -> list[Pair]:
    """Return the pairs of an inline table, none where the value is something else."""
    found: list[Pair] = []
    if text[pair.value_start] != "{":
        return found
    at = _skipped(text, pair.value_start + 1)
    while text[at] != "}":
        found.append(_pair(text, at))
        at = _skipped(text, found[-1].end)
        if text[at] == ",":
            at = _skipped(text, at + 1)
    return found


def items_inside(text: str, pair: Pair) -> Iterator[int]:
    """Yield where each item of a list ends."""
    at = _skipped(text, pair.value_start + 1)
    while text[at] != "]":
        at = _value_end(text, at)
        yield at
        at = _skipped(text, at)
        if text[at] == ",":
            at = _skipped(text, at + 1)


def line_end(text: str, at: int) -> int:
    """Return the end of a line, before its line break."""
    end = text.find("\n", at)
    end = len(text) if end < 0 else end
    return end - 1 if text[at:end].endswith("\r") else end


def written(value: str | float | bool) -> str:
    """Return a text, number or truth value as TOML writes it."""
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, bool):
        return "true" if value else "false"
    return f"{value:g}" if float(f"{value:g}") == value else repr(value)


def changed(text: str, edits: Sequence[tuple[int, int, str]]) -> str:
    """Return a text with some spans replaced.

    Args:
        text: as it is.
        edits: start, end and what comes there instead; spans do not overlap, and what
            comes to one place comes in the order given.
    """
    parts, last = [], 0
    for start, end, new in sorted(edits, key=lambda edit: edit[:2]):
        parts += [text[last:start], new]
        last = end
    return "".join([*parts, text[last:]])


def _skipped(text: str, at: int) -> int:
    return _end(_BLANK, text, at)


def _end(pattern: re.Pattern[str], text: str, at: int) -> int:
    found = pattern.match(text, at)
    assert found is not None
    return found.end()


def _key(text: str, at: int) -> tuple[tuple[str, ...], int]:
    """Return the parts of a key, and where what follows it begins."""
    parts = []
    while True:
        at = _end(_SPACE, text, at)
        end = _end(_KEY, text, at)
        parts.append(_unquoted(text[at:end]))
        at = _end(_SPACE, text, end)
        if text[at] != ".":
            return tuple(parts), at
        at += 1


def _unquoted(key: str) -> str:
    if key[0] == "'":
        return key[1:-1]
    name: str = json.loads(key) if key[0] == '"' else key
    return name


def _pair(text: str, at: int) -> Pair:
    path, equals = _key(text, at)
    start = _end(_SPACE, text, equals + 1)
    return Pair(path=path, start=at, value_start=start, end=_value_end(text, start))


def _value_end(text: str, at: int) -> int:
    """Return where a value ends that begins at a place."""
    depth, end = 0, at
    while at < len(text):
        char = text[at]
        if char in "[{":
            depth += 1
            at += 1
        elif depth == 0 and char in ",]}#\n":
            break
        elif char in "]}":
            depth -= 1
            at += 1
        elif char in "\"'":
            at = _end(_STRING, text, at)
        elif char == "#":
            at = line_end(text, at)
            continue
        elif char in ",\n\r":
            at += 1
        else:
            at = _end(_PLAIN, text, at)
        end = at
        if depth == 0 and char not in " \t" and text[end - 1] in "]}\"'":
            break
    return end - len(text[:end]) + len(text[:end].rstrip(" \t\r"))
