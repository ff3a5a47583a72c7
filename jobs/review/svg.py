"""Elements of an SVG file as text, and the scale from a quantity to a place."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from html import escape
from math import floor, log10

import numpy as np

from ...solver.arrays import FloatArray

Point = tuple[float, float]
_ESCAPED = re.compile(r'[&<>"\n\r\t]')


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

    def ticks(self, most: int) -> FloatArray:
        """Return at most `most` + 1 round values from low to high."""
        step = round_step((self.high - self.low) / most)
        first = np.ceil(self.low / step - 1e-9)
        values: FloatArray = np.arange(first, self.high / step + 1e-9) * step + 0.0
        return values


def round_step(least: float) -> float:
    """Return the smallest of 1, 2 and 5 times a power of ten that is >= least > 0."""
    power: float = 10.0 ** floor(log10(least))
    return next(power * k for k in (1, 2, 5, 10) if power * k >= least * (1 - 1e-9))


def element(name: str, body: str = "", /, **attributes: float | str) -> str:
    """Return an element; `_` in the name of an attribute stands for `-`."""
    parts = [
        f' {_attribute(key)}="{_value(value)}"' for key, value in attributes.items()
    ]
    return f"<{name}{''.join(parts)}" + (f">{body}</{name}>" if body else "/>")


@cache
def _attribute(key: str) -> str:
    return key.strip("_").replace("_", "-")


def _value(value: float | str) -> str:
    if isinstance(value, str):
        if not _ESCAPED.search(value):
            return value
        return escape(value, quote=False).replace('"', "&quot;")
    return number(value)


def group(*bodies: str, **attributes: float | str) -> str:
    """Return a group of elements."""
    return element("g", "\n".join(bodies), **attributes)


def text(words: str, at: Point, **attributes: float | str) -> str:
    """Return a text; `at` is the left end of its base line unless anchored."""
    return element("text", escape(words, quote=False), x=at[0], y=at[1], **attributes)


def line(start: Point, end: Point, **attributes: float | str) -> str:
    """Return a straight line."""
    (x1, y1), (x2, y2) = start, end
    return element("line", x1=x1, y1=y1, x2=x2, y2=y2, **attributes)


def path(points: Sequence[Point] | FloatArray, **attributes: float | str) -> str:
    """Return a line through points (n, 2), broken where one is not finite."""
    return element("path", d=steps(points), fill="none", **attributes)


def steps(points: Sequence[Point] | FloatArray) -> str:
    """Return the steps of a line through points (n, 2), as a path writes them."""
    places = np.asarray(points, dtype=np.float64).reshape(-1, 2)
    known = np.asarray(np.isfinite(places).all(axis=1))
    ends = np.flatnonzero(np.diff(known)) + 1
    runs = (run for run in np.split(np.arange(len(places)), ends) if known[run].any())
    return "".join(
        "M" + ("L%.2f %.2f" * len(run))[1:] % tuple((places[run] + 0.0).ravel())
        for run in runs
    )


def broken(pieces: Iterable[FloatArray]) -> FloatArray:
    """Return points (m, 2) of lines (n, 2), with a break after each."""
    gap = np.full((1, 2), np.nan)
    parts = [part for piece in pieces for part in (piece, gap)]
    return np.concatenate(parts) if parts else np.empty((0, 2))


def number(value: float | str) -> str:
    """Return a number with at most two decimals, or a text as it is."""
    if isinstance(value, str):
        return value
    return f"{round(value, 2) + 0.0:.2f}".rstrip("0").rstrip(".")
