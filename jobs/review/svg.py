"""Elements of an SVG file as text, and the scale from a quantity to a place."""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from html import escape
from math import ceil, floor, isfinite, log10

import numpy as np
from numpy.typing import NDArray

from ...solver.arrays import FloatArray, IntArray

Point = tuple[float, float]
_ESCAPED = re.compile(r'[&<>"\n\r\t]')
_MOST_PX = 400  # larger than a drawing; places within are looked up, not computed


@dataclass(frozen=True, kw_only=True, slots=True)
class Box:
    """A rectangle of the drawing [px], y down."""

    left: float
    top: float
    width: float
    height: float

    @property
    def right(self) -> float:
        """Its right edge."""
        return self.left + self.width

    @property
    def bottom(self) -> float:
        """Its lower edge."""
        return self.top + self.height


@dataclass(frozen=True, kw_only=True, slots=True)
class Scale:
    """A linear scale: `low` lies at `start`, `high` at `end` [px]."""

    low: float
    high: float
    start: float
    end: float

    def __call__(self, value: float) -> float:
        """Return the place of a value [px]."""
        share = (value - self.low) / (self.high - self.low)
        return self.start + share * (self.end - self.start)

    def all(self, values: FloatArray) -> FloatArray:
        """Return the places of values, (n,) [px]."""
        share = (values - self.low) / (self.high - self.low)
        places: FloatArray = self.start + share * (self.end - self.start)
        return places

    def ticks(self, most: int) -> list[float]:
        """Return at most `most` + 1 round values from low to high."""
        step = round_step((self.high - self.low) / most)
        first = ceil(self.low / step - 1e-9)
        return [k * step + 0.0 for k in range(first, ceil(self.high / step + 1e-9))]


def round_step(least: float) -> float:
    """Return the smallest of 1, 2 and 5 times a power of ten that is >= least > 0."""
    power: float = 10.0 ** floor(log10(least))
    return next(power * k for k in (1, 2, 5, 10) if power * k >= least * (1 - 1e-9))


def element(name: str, body: str = "", /, **attributes: float | str) -> str:
    """Return an element; `_` in the name of an attribute stands for `-`."""
    said = _said(attributes)
    return f"<{name}{said}>{body}</{name}>" if body else f"<{name}{said}/>"


def _said(attributes: Mapping[str, float | str]) -> str:
    return "".join(
        [
            _word(key, value)
            if isinstance(value, str)
            else f'{_attribute(key)}="{_shortest(value)}"'
            for key, value in attributes.items()
        ]
    )


@cache
def _attribute(key: str) -> str:
    name = key.strip("_").replace("_", "-")
    return f" {name}"


@lru_cache(maxsize=256)  # most are names of classes
def _word(key: str, value: str) -> str:
    said = escape(value, quote=False).replace('"', "&quot;")
    return f'{_attribute(key)}="{said}"'


def group(*bodies: str, **attributes: float | str) -> str:
    """Return a group of elements."""
    return element("g", "\n".join(bodies), **attributes)


def text(words: str, at: Point, **attributes: float | str) -> str:
    """Return a text; `at` is the left end of its base line unless anchored."""
    said = escape(words, quote=False) if _ESCAPED.search(words) else words
    if not attributes:  # most of them: their group says how they look
        return f'<text x="{_shortest(at[0])}" y="{_shortest(at[1])}">{said}</text>'
    return element("text", said, x=at[0], y=at[1], **attributes)


def line(start: Point, end: Point, **attributes: float | str) -> str:
    """Return a straight line."""
    (x1, y1), (x2, y2) = start, end
    return element("line", x1=x1, y1=y1, x2=x2, y2=y2, **attributes)


def path(points: Sequence[Point] | FloatArray, **attributes: float | str) -> str:
    """Return a line through points (n, 2), broken where one is not finite."""
    return stroke(steps(points), **attributes)


def stroke(way: str, **attributes: float | str) -> str:
    """Return a line from its steps, unfilled."""
    # Steps hold nothing to be escaped; looking for it took longer than all the rest.
    return f'<path d="{way}" fill="none"{_said(attributes)}/>'


def steps(points: Sequence[Point] | FloatArray) -> str:
    """Return the steps of a line through points (n, 2), as a path writes them."""
    x, y = np.asarray(points, dtype=np.float64).reshape(-1, 2).T
    return steps_through(numbers(x), numbers(y))


def steps_through(x: Sequence[str], y: Sequence[str]) -> str:
    """Return the steps of a line through places as `numbers` writes them."""
    if "" not in x and "" not in y:
        return _joined(x, y)
    gaps = [k for k, pair in enumerate(zip(x, y, strict=True)) if "" in pair]
    runs = zip([-1, *gaps], [*gaps, len(x)], strict=True)
    return "".join(_joined(x[gap + 1 : end], y[gap + 1 : end]) for gap, end in runs)


def _joined(x: Sequence[str], y: Sequence[str]) -> str:
    if not x:
        return ""
    words = ["L", "", " ", ""] * len(x)
    words[0], words[1::4], words[3::4] = "M", x, y
    return "".join(words)


def numbers(values: FloatArray) -> list[str]:
    """Return numbers (n,) with at most two decimals, "" where one is not finite."""
    near = (values >= 0) & (values < _MOST_PX)
    if near.all():
        return _looked_up(values)
    words = _looked_up(np.where(near, values, 0.0))
    for k in np.flatnonzero(~near).tolist():
        value = float(values[k])
        words[k] = _shortest(value) if isfinite(value) else ""
    return words


def rows_of_numbers(values: FloatArray) -> list[list[str]]:
    """Return each row of numbers (k, n) as `numbers` does."""
    if ((values >= 0) & (values < _MOST_PX)).all():
        words: list[list[str]] = _places()[_hundredths(values)].tolist()
        return words
    return [numbers(row) for row in values]


def _looked_up(values: FloatArray) -> list[str]:
    words: list[str] = _places()[_hundredths(values)].tolist()
    return words


def _hundredths(values: FloatArray) -> IntArray:
    return (values * 100 + 0.5).astype(np.int64)


@cache
def _places() -> NDArray[np.object_]:
    """Return the words for every hundredth from 0 on."""
    tenths = [f".{k // 10}" if k % 10 == 0 else f".{k:02d}" for k in range(100)]
    parts = ["", *tenths[1:]]
    words = [f"{whole}{part}" for whole in range(_MOST_PX + 1) for part in parts]
    return np.array(words, dtype=np.object_)


def strokes(starts: FloatArray, ends: FloatArray) -> str:
    """Return the steps of straight lines from points (n, 2) to others."""
    x, y = (numbers(column) for column in np.asarray(starts).reshape(-1, 2).T)
    far_x, far_y = (numbers(column) for column in np.asarray(ends).reshape(-1, 2).T)
    return "".join(
        f"M{a} {b}L{c} {d}" for a, b, c, d in zip(x, y, far_x, far_y, strict=True)
    )


def broken(pieces: Iterable[FloatArray]) -> FloatArray:
    """Return points (m, 2) of lines (n, 2), with a break after each."""
    gap = np.full((1, 2), np.nan)
    parts = [part for piece in pieces for part in (piece, gap)]
    return np.concatenate(parts) if parts else np.empty((0, 2))


def number(value: float | str) -> str:
    """Return a number with at most two decimals, or a text as it is."""
    return value if isinstance(value, str) else _shortest(value)


def _shortest(value: float) -> str:
    words = f"{value:.2f}"
    if words[-1] == "0":
        words = words[:-3] if words[-2] == "0" else words[:-1]
    return "0" if words in ("-0", "-0.00") else words
