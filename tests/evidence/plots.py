"""Line charts as inline SVG: no script, no outside request, colours from the page."""

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

LEFT, RIGHT, TOP, BOTTOM = 54, 12, 10, 38


@dataclass(frozen=True, kw_only=True, slots=True)
class Series:
    """One line: `colour` 0 to 4 names one of the page's, `style` line, dots or both."""

    name: str
    x: ArrayLike
    y: ArrayLike
    colour: int = 0
    style: str = "both"
    dashed: bool = False


@dataclass(frozen=True, kw_only=True, slots=True)
class Axis:
    """An axis: its label, ends, and whether it is logarithmic."""

    label: str
    low: float
    high: float
    log: bool = False

    def share(self, values: ArrayLike) -> FloatArray:
        """Return how far along the axis values lie, 0 to 1 inside."""
        v, low, high = np.asarray(values, dtype=np.float64), self.low, self.high
        if self.log:
            v, low, high = np.log(np.maximum(v, 1e-300)), np.log(low), np.log(high)
        return (v - low) / (high - low)

    def ticks(self) -> list[float]:
        """Return round values on the axis."""
        if self.log:
            powers = range(
                int(np.floor(np.log10(self.low))), int(np.ceil(np.log10(self.high))) + 1
            )
            values = [m * 10.0**p for p in powers for m in (1, 2, 5)]
            return [v for v in values if self.low * 0.999 <= v <= self.high * 1.001]
        rough = (self.high - self.low) / 5
        size = 10.0 ** np.floor(np.log10(rough))
        step = next(m * size for m in (1, 2, 2.5, 5, 10) if m * size >= rough * 0.999)
        first = np.ceil(self.low / step - 1e-9)
        last = np.floor(self.high / step + 1e-9)
        return [int(k) * float(step) for k in np.arange(first, last + 1)]


@dataclass(frozen=True, kw_only=True, slots=True)
class Band:
    """A shaded part of the chart: x and y ends, None for the whole axis, a caption."""

    name: str
    x: tuple[float, float] | None = None
    y: tuple[float, float] | None = None


def axis(
    label: str, values: Sequence[ArrayLike], *, log: bool = False, zero: bool = False
) -> Axis:
    """Return an axis that holds all finite values, from zero if asked."""
    flat = np.concatenate([np.ravel(np.asarray(v, dtype=np.float64)) for v in values])
    flat = flat[np.isfinite(flat) & (flat > 0 if log else True)]
    low, high = float(flat.min()), float(flat.max())
    if log:
        return Axis(label=label, low=low / 1.1, high=high * 1.1, log=True)
    room = (high - low or abs(high) or 1.0) * 0.06
    return Axis(label=label, low=0.0 if zero else low - room, high=high + room)


def _number(value: float) -> str:
    return f"{value + 0.0:.6g}".replace("-", "\N{MINUS SIGN}")


def chart(
    series: Sequence[Series],
    x: Axis,
    y: Axis,
    *,
    bands: Sequence[Band] = (),
    width: int = 460,
    height: int = 260,
    title: str,
    legend: bool = True,
) -> str:
    """Return a figure: legend, axes, bands and lines."""
    inner_w, inner_h = width - LEFT - RIGHT, height - TOP - BOTTOM

    def px(values: ArrayLike) -> FloatArray:
        return LEFT + np.clip(x.share(values), 0, 1) * inner_w

    def py(values: ArrayLike) -> FloatArray:
        return TOP + (1 - np.clip(y.share(values), -0.02, 1.02)) * inner_h

    out = [
        f'<svg viewBox="0 0 {width} {height}" role="img"><title>{escape(title)}</title>'
    ]
    for band in bands:
        x0, x1 = px(band.x or (x.low, x.high))
        y1, y0 = py(band.y or (y.low, y.high))
        note_y = y0 + 12 if band.y is None else y1 - 5
        out.append(
            f'<rect class="band" x="{x0:.1f}" y="{y0:.1f}" width="{x1 - x0:.1f}" '
            f'height="{y1 - y0:.1f}"/><text class="note" x="{x0 + 4:.1f}" '
            f'y="{note_y:.1f}">{escape(band.name)}</text>'
        )
    for tick in x.ticks():
        at = float(px(tick))
        out.append(
            f'<line class="grid" x1="{at:.1f}" x2="{at:.1f}" y1="{TOP}" '
            f'y2="{TOP + inner_h}"/><text class="tick" text-anchor="middle" '
            f'x="{at:.1f}" y="{TOP + inner_h + 14}">{_number(tick)}</text>'
        )
    for tick in y.ticks():
        at = float(py(tick))
        out.append(
            f'<line class="grid" x1="{LEFT}" x2="{LEFT + inner_w}" y1="{at:.1f}" '
            f'y2="{at:.1f}"/><text class="tick" text-anchor="end" x="{LEFT - 5}" '
            f'y="{at + 3.5:.1f}">{_number(tick)}</text>'
        )
    out.append(
        f'<text class="label" text-anchor="middle" x="{LEFT + inner_w / 2:.0f}" '
        f'y="{height - 6}">{escape(x.label)}</text><text class="label" '
        f'text-anchor="middle" transform="translate(11 {TOP + inner_h / 2:.0f}) '
        f'rotate(-90)">{escape(y.label)}</text>'
    )
    out += [_drawn(one, px(one.x), py(one.y), np.asarray(one.y)) for one in series]
    out.append("</svg>")
    key = ""
    if legend:
        key = "".join(
            f'<span class="c{one.colour}">{"&#9476;" if one.dashed else "&#9632;"}'
            f"<i>{escape(one.name)}</i></span>"
            for one in series
            if one.name
        )
        key = f'<div class="key">{key}</div>'
    return (
        f"<figure><figcaption>{escape(title)}</figcaption>{key}{''.join(out)}</figure>"
    )


def _drawn(one: Series, x: FloatArray, y: FloatArray, raw: FloatArray) -> str:
    """Return the marks of one series; gaps where it is not finite."""
    x, y = np.atleast_1d(x), np.atleast_1d(y)
    good = np.isfinite(np.atleast_1d(raw).astype(float))
    parts = []
    if one.style != "dots":
        points = " ".join(
            f"{a:.1f},{b:.1f}" for a, b in zip(x[good], y[good], strict=True)
        )
        dash = ' stroke-dasharray="5 4"' if one.dashed else ""
        parts.append(f'<polyline class="l{one.colour}" points="{points}"{dash}/>')
    if one.style != "line":
        parts += [
            f'<circle class="d{one.colour}" cx="{a:.1f}" cy="{b:.1f}" r="3"/>'
            for a, b in zip(x[good], y[good], strict=True)
        ]
    return "".join(parts)
