"""Plots of a take as pictures for a deck: its moves, its frame, its plan, its focus.

Curves differ in shape as well as in colour, and every axis names its unit. The same
take gives the same bytes.
"""

from collections.abc import Iterator
from io import BytesIO
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa

from ...solver.arrays import FloatArray
from ...solver.crew.operator import SAFE
from ..review.stage import PlanStage, stage_of
from ..takes.curves import Curves
from ..takes.metadata import take_metadata
from .scene_view import Figure, figures_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Page

INK, BLUE, RUST, GREY = "#262628", "#34546e", "#a4492f", "#8c867c"
GREEN, OCHRE = "#4d6b58", "#8a6d1f"
_STYLE: dict[Any, Any] = {
    "svg.hashsalt": "carrellata",
    "svg.fonttype": "none",
    "font.family": "DejaVu Sans",
    "font.size": 11,
    "text.color": INK,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "xtick.color": INK,
    "ytick.color": INK,
    "legend.frameon": False,
    "path.simplify": False,
}
_INCH_PIXELS = 100
_CAMERA = [(-0.35, -0.5), (0.0, 0.7), (0.35, -0.5), (-0.35, -0.5)]
# Blue is the camera's alone.
_COLOURS, _MARKS = (RUST, GREEN, OCHRE, INK), ("o", "s", "D", "^")


def stills(
    curves: Curves, table: pa.Table, *, width: int, suffix: str
) -> Iterator[tuple[str, bytes]]:
    """Yield the name and the file of each plot of a take.

    Args:
        curves: the take.
        table: the same, with what its subjects did.
        width: pixels across of a PNG.
        suffix: `.png` or `.svg`.
    """
    from matplotlib import rc_context
    from matplotlib.figure import Figure as Page

    figures = figures_of(table, curves)
    for name, high, draw in (
        ("moves", 0.75, _moves),
        ("frame", 0.6, _frame),
        ("plan", 0.75, _plan),
        ("focus", 0.5, _focus),
    ):
        with rc_context(_STYLE):
            page = Page(figsize=(12.8, 12.8 * high), layout="constrained")
            draw(page, curves, table, figures)
            page.suptitle(f"{curves.sequence} {curves.shot}: {name}", x=0.01, ha="left")
            yield name, _file(page, width, suffix)


def _file(page: "Page", width: int, suffix: str) -> bytes:
    out = BytesIO()
    if suffix == ".svg":
        page.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    else:
        dpi = _INCH_PIXELS * width / 1280
        page.savefig(out, format="png", dpi=dpi, metadata={"Software": None})
    return out.getvalue()


def _moves(
    page: "Page", curves: Curves, table: pa.Table, figures: tuple[Figure, ...]
) -> None:
    del figures
    channels = [("pan", "deg/s"), ("tilt", "deg/s")]
    if curves.rail.length_m > 0:
        channels.append(("rail", "m/s"))
    rows = page.subplots(len(channels), 1, sharex=True)
    for axes, (name, unit) in zip(rows, channels, strict=True):
        speed = table[f"{name}_speed"].to_numpy()
        axes.plot(curves.time_codes, speed, color=BLUE, lw=1.8)
        axes.axhline(0.0, color=GREY, lw=0.8)
        decided = table[f"decided_{'dolly' if name == 'rail' else name}"].to_numpy()
        low, _ = axes.get_ylim()
        axes.plot(
            curves.time_codes[decided],
            np.full(int(decided.sum()), low),
            "|",
            color=RUST,
            ms=12,
            mew=1.6,
            label="decision",
            clip_on=False,
        )
        axes.set_ylabel(f"{'dolly' if name == 'rail' else name} ({unit})")
        _mark_cut(axes, curves)
    rows[0].legend(loc="upper right")
    rows[-1].set_xlabel("frame")


def _mark_cut(axes: "Axes", curves: Curves) -> None:
    for frame in (curves.cut[0], curves.cut[1] + 1):
        axes.axvline(frame, color=GREY, lw=0.8, ls=(0, (4, 3)))


def _frame(
    page: "Page", curves: Curves, table: pa.Table, figures: tuple[Figure, ...]
) -> None:
    del figures
    axes = page.subplots()
    u, v = table["subject_u"].to_numpy(), table["subject_v"].to_numpy()
    names = np.array(table["subject"].to_pylist())
    for k, name in enumerate(dict.fromkeys(names)):
        mine = names == name
        axes.plot(
            np.where(mine, u, np.nan),
            np.where(mine, v, np.nan),
            color=_COLOURS[k % len(_COLOURS)],
            lw=1.6,
            marker=_MARKS[k % len(_MARKS)],
            markevery=12,
            ms=5,
            label=name,
        )
    _outline(axes, 1.0, INK, "-", "frame")
    _outline(axes, SAFE, GREY, (0, (5, 3)), "action-safe area")
    axes.set_xlim(-1.15, 1.15)
    axes.set_ylim(-1.15, 1.15)
    axes.set_aspect(curves.gate.tan_v / curves.gate.tan_u)
    axes.set_xlabel("across (half frame widths)")
    axes.set_ylabel("up (half frame heights)")
    axes.legend(loc="upper left", bbox_to_anchor=(1.0, 1.0))


def _outline(axes: "Axes", half: float, colour: str, style: Any, name: str) -> None:
    x = [-half, half, half, -half, -half]
    y = [-half, -half, half, half, -half]
    axes.plot(x, y, color=colour, ls=style, lw=1.2, label=name)


def _plan(
    page: "Page", curves: Curves, table: pa.Table, figures: tuple[Figure, ...]
) -> None:
    from matplotlib.markers import MarkerStyle
    from matplotlib.path import Path

    axes = page.subplots()
    _stage(axes, stage_of(take_metadata(table)))
    rail = curves.rail.places(curves.rail.drawn_s)
    if curves.rail.length_m > 0:
        x, y = _above(rail)
        axes.plot(x, y, color=GREY, lw=4.5, solid_capstyle="butt", label="rail")
        axes.plot(x, y, color="white", lw=2.5, solid_capstyle="butt")
    base = curves.base_m
    axes.plot(*_above(base), color=BLUE, lw=1.2, label="lens")
    ends = (0, len(base) - 1)
    for k in ends:
        # Longer than wide, so that it says where the lens looks.
        mark = MarkerStyle(Path(_CAMERA)).rotated(deg=curves.pan_deg[k])
        axes.plot(
            *_above(base[k]), marker=mark, ms=20, mfc="white", mec=BLUE, ls="none"
        )
    _number(axes, curves, base, ends)
    for k, one in enumerate(figures):
        axes.plot(
            *_above(one.floor),
            color=_COLOURS[k % len(_COLOURS)],
            lw=1.4,
            marker=_MARKS[k % len(_MARKS)],
            markevery=list(ends),
            ms=7,
            label=one.name,
        )
        _number(axes, curves, one.floor, ends)
    axes.set_aspect("equal", adjustable="datalim")
    axes.set_xlabel("metres, seen from above")
    axes.set_ylabel("metres")
    axes.legend(loc="best")


def _stage(axes: "Axes", stage: PlanStage) -> None:
    """Draw the edge of the floor, and keep-outs hatched and named."""
    from matplotlib.patches import Rectangle

    if stage.floor is not None:
        ring = np.concatenate([stage.floor, stage.floor[:1]])
        axes.plot(*ring.T, color=INK, lw=1.0, ls=(0, (1, 3)), label="floor")
    for one in stage.keep_outs:
        (left, low), (right, high) = one.low[:2], one.high[:2]
        box = Rectangle((left, low), right - left, high - low)
        box.set(facecolor="none", edgecolor=GREY, hatch="//", lw=1.0)
        axes.add_patch(box)
        axes.annotate(
            one.name, ((left + right) / 2, high), ha="center", va="bottom", fontsize=10
        )


def _above(points: FloatArray) -> tuple[Any, Any]:
    """Return points as a plan shows them: +X right, -Z up."""
    return points[..., 0], -points[..., 2]


def _number(
    axes: "Axes", curves: Curves, points: FloatArray, rows: tuple[int, int]
) -> None:
    """Write the frame beside both ends of a path, away from the path."""
    first, last = (np.array(_above(points[k])) for k in rows)
    along = last - first
    length = float(np.hypot(*along))
    way = along / length if length > 0.3 else np.array([0.0, 1.0])
    for k, place, out in zip(rows, (first, last), (-way, way), strict=True):
        axes.annotate(
            str(int(curves.frame[k])),
            tuple(place),
            xytext=tuple(20 * out),
            textcoords="offset points",
            ha="center",
            va="center",
            fontsize=10,
        )


def _focus(
    page: "Page", curves: Curves, table: pa.Table, figures: tuple[Figure, ...]
) -> None:
    del figures
    axes = page.subplots()
    near, far = table["dof_near_m"].to_numpy(), table["dof_far_m"].to_numpy()
    top = 2.5 * float(curves.focus_m.max())
    axes.plot(curves.time_codes, curves.focus_m, color=BLUE, lw=1.8, label="focus")
    axes.fill_between(
        curves.time_codes,
        near,
        np.minimum(far, top),
        facecolor="none",
        edgecolor=GREY,
        hatch="//",
        lw=0.0,
        label="acceptably sharp",
    )
    soft = table["soft"].to_numpy()
    axes.plot(
        curves.time_codes[soft],
        curves.focus_m[soft],
        "x",
        color=RUST,
        ms=8,
        label="subject soft",
    )
    axes.set_ylim(0.0, top)
    axes.set_ylabel(f"metres at f/{curves.stop:g}, {curves.focal_mm:g} mm")
    axes.set_xlabel("frame")
    _mark_cut(axes, curves)
    axes.legend(loc="best")
