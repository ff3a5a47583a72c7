"""Draws what the README shows, from the example as it is solved.

    python -m carrellata.jobs.examples.ferry_dash.pictures FOLDER

solves `job.toml`, `choose.toml` and `cover.toml` and writes an SVG for each picture of
`PICTURES`. The same source gives the same bytes.
"""

import json
import sys
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pyarrow as pa

from ....solver.arrays import FloatArray
from ...export.scene_view import Figure, figures_of, scene_view
from ...places.place import Place, place_of
from ...review.picture import STYLE, picture
from ...review.plan_view import plan_view
from ...review.shown import shown_of
from ...review.strip import strip
from ...review.svg import Box, element, group, line, text
from ...review.why import why_of
from ...run.local import solve_job
from ...takes.actions import read_action
from ...takes.claim_words import MET, MISSED, asked_words, done_words
from ...takes.curves import Curves, Delivery, read_delivery
from ...takes.sequence_table import ShotRow
from ...takes.store import Store
from .make import FOLDER

WIDTH = 900.0
ACTION = "farewell"  # of cover.toml
MOST_BARS = 11
_LEFT = 24.0
_WHO = "dark: the courier; light: the guard"
_INK, _PAPER = "#23272b", "#fbfaf5"
_MORE = """
.ground{stroke:#e4e0d5;stroke-width:.7;fill:none}
.horizon{stroke:#c9c4b6;stroke-width:1}
.courier{fill:#34546e;stroke:#fbfaf5;stroke-width:.6}
.guard{fill:#a89e8e;stroke:#fbfaf5;stroke-width:.6}
.chosen{fill:#1d5d9b}.runner{fill:#c9c4b6}
.on{fill:#1d5d9b}.cut{stroke:#23272b;stroke-width:.7}
.shade0{fill:#c2410c}.shade1{fill:#34546e}.shade2{fill:#7a9e7e}
.keep_out{fill:#e8e3d6;stroke:#8c867c;stroke-width:.8}
.wall{stroke:#8c867c;stroke-width:1.4;fill:none}
.floor{stroke:#c9c4b6;stroke-width:1;fill:none}
.small{font-size:10px}
.warns{fill:#b45309;font-weight:bold}
"""


def _shot(delivery: Delivery, name: str) -> tuple[ShotRow, Curves, pa.Table]:
    """Return row, curves and table of a shot."""
    k = [row.shot for row in delivery.rows].index(name)
    return delivery.rows[k], delivery.curves[k], delivery.tables[k]


def movement(delivery: Delivery) -> str:
    """Return a take: its plan, its frame and its speeds."""
    return picture(shown_of(_shot(delivery, "050")[2]))


def setups(delivery: Delivery) -> str:
    """Return what was chosen for a shot, and its points beside the runner-up's."""
    row, curves, table = _shot(delivery, "050")
    why = why_of(row.why, row.runner_up, curves.world)
    box = Box(left=_LEFT, top=76, width=500, height=392)
    right = box.right + 40
    drawn = [
        text("Chosen, from above, to scale", (box.left, 64), class_="heading"),
        plan_view(shown_of(table), box),
        text(
            "What it costs, in points (fewer are better)", (right, 64), class_="heading"
        ),
        *_bars(why.parts, right + 118, 86.0),
    ]
    return _page(
        f"Shot {row.shot}: the setup that the solver chose",
        _of(json.loads(row.why or "{}")),
        492.0,
        drawn,
    )


def _of(why: Mapping[str, Any]) -> str:
    return f"{why['candidates']} setups hold the shot, {why['tried']} were tried"


def _bars(
    parts: Sequence[tuple[str, str, str]], left: float, top: float
) -> Iterator[str]:
    """Yield a row a part of the score: the chosen setup above its runner-up."""
    values = [(name, _number(one), _number(other)) for name, one, other in parts]
    values = [each for each in values if not each[0].startswith("cut")]
    values = sorted(values, key=lambda each: -max(each[1:]))[:MOST_BARS]
    most = max(max(one, other) for _, one, other in values)
    px = (WIDTH - _LEFT - left - 36) / most
    for k, (name, one, other) in enumerate(values):
        y = top + 32 * k
        yield text(name, (left - 8, y + 13), class_="end")
        for value, kind, low in ((one, "chosen", y), (other, "runner", y + 11)):
            width = max(px * value, 0.5)
            yield element("rect", class_=kind, x=left, y=low, width=width, height=8)
            yield text(
                f"{value:.2f}", (left + width + 5, low + 8), class_="small label"
            )
    y = top + 32 * len(values) + 14
    for x, kind, words in (
        (left, "chosen", "chosen"),
        (left + 90, "runner", "runner-up"),
    ):
        yield element("rect", class_=kind, x=x, y=y - 8, width=16, height=8)
        yield text(words, (x + 22, y), class_="label")


def _number(words: str) -> float:
    try:
        return float(words)
    except ValueError:
        return 0.0


def intent(delivery: Delivery) -> str:
    """Return three claims, each at the moments that tell it, with what was measured."""
    drawn: list[str] = []
    top = 62.0
    wide, gap = 270.0, 21.0
    for name in ("030", "050", "070"):
        row, curves, table = _shot(delivery, name)
        told = json.loads(row.claims)[0]
        first, last = told["frames"] or curves.cut
        inside = np.flatnonzero(
            (curves.sub == 0) & (curves.frame >= first) & (curves.frame <= last)
        )
        rows = inside[[0, len(inside) // 2, len(inside) - 1]]
        heading = f"Shot {name}: {asked_words(told)}"
        drawn.append(text(heading, (_LEFT, top + 4), class_="heading"))
        state = MET if told["held"] else MISSED
        words = f"{state}: {done_words(told)}"
        drawn.append(text(words, (_LEFT, top + 21), class_="label"))
        for k, at in enumerate(rows.tolist()):
            box = _frame_box(curves, _LEFT + k * (wide + gap), top + 29, wide)
            drawn.append(_still(curves, figures_of(table, curves), at, box))
            drawn.append(
                text(
                    f"frame {curves.frame[at]}",
                    (box.left, box.bottom + 14),
                    class_="label",
                )
            )
        top = box.bottom + 34
    return _page(
        "What a picture must tell, and whether it does",
        "claims of the job, measured",
        top,
        drawn,
    )


def review(delivery: Delivery) -> str:
    """Return the sequence at a glance: a frame a shot, and what is found in it."""
    each = delivery
    wide, gap, columns = 201.0, 16.0, 4
    drawn: list[str] = []
    low = 56.0
    for k, (row, curves, table) in enumerate(
        zip(each.rows, each.curves, each.tables, strict=True)
    ):
        middle = int(np.searchsorted(curves.frame, sum(curves.cut) // 2))
        top = 56.0 + (k // columns) * 130.0
        box = _frame_box(curves, _LEFT + (k % columns) * (wide + gap), top, wide)
        drawn.append(_still(curves, figures_of(table, curves), middle, box))
        found = [one for one in json.loads(row.findings) if one["accepted"] is None]
        words = f"{len(found)} finding{'s' * (len(found) != 1)}" if found else "clean"
        kind = "warns end" if found else "label end"
        drawn.append(text(row.shot, (box.left, box.bottom + 15), class_="heading"))
        drawn.append(
            text(
                f"{curves.focal_mm:g} mm",
                (box.left + 34, box.bottom + 15),
                class_="label",
            )
        )
        drawn.append(text(words, (box.right, box.bottom + 15), class_=kind))
        low = box.bottom + 30
    return _page("The sequence in the morning", _WHO, low, drawn)


def coverage(delivery: Delivery) -> str:
    """Return one action that several cameras cover, and its cut."""
    action = read_action(delivery.store.folder, ACTION)
    assert action is not None
    people = sorted({one for shown in action.shown.values() for one in shown})
    drawing = strip(action, {name: k for k, name in enumerate(people)})
    view = drawing.split('viewBox="', 1)[1].split('"', 1)[0].split()
    high = float(view[3]) * (WIDTH - 2 * _LEFT) / 1000
    placed = drawing.replace(
        "<svg ",
        f'<svg x="{_LEFT:g}" y="56" width="{WIDTH - 2 * _LEFT:g}" height="{high:.2f}" ',
        1,
    )
    top = 56 + high + 22
    key = [element("rect", class_="on", x=_LEFT, y=top - 9, width=22, height=9)]
    key.append(text("in the cut", (_LEFT + 28, top), class_="label"))
    x = _LEFT + 130
    for k, name in enumerate(people):
        key.append(
            element("rect", class_=f"shade{k}", x=x, y=top - 6, width=22, height=3)
        )
        key.append(text(f"{name}'s head in the picture", (x + 28, top), class_="label"))
        x += 220
    frames = action.frames[1] - action.frames[0] + 1
    seconds = float(frames / delivery.curves[0].rate)
    return _page(
        f"{len(action.cameras)} cameras on one action, and its cut",
        f"{seconds:.0f} s, {len(action.pictures)} pictures",
        top + 20,
        [placed, *key],
    )


class Drawn(NamedTuple):
    """A picture: the job file that it is of, and how it is drawn."""

    job: str
    draw: Callable[[Delivery], str]


PICTURES: dict[str, Drawn] = {
    "movement": Drawn("job.toml", movement),
    "setups": Drawn("choose.toml", setups),
    "intent": Drawn("job.toml", intent),
    "review": Drawn("job.toml", review),
    "coverage": Drawn("cover.toml", coverage),
}


def pictures_of(job: str, folder: Place) -> Iterator[tuple[str, str]]:
    """Yield name and text of each picture of a job that was solved.

    Args:
        job: name of its file.
        folder: where its takes lie.
    """
    delivery = read_delivery(Store(folder=folder))
    for name, one in PICTURES.items():
        if one.job == job:
            yield name, f"{one.draw(delivery)}\n"


def _page(title: str, right: str, height: float, drawn: Sequence[str]) -> str:
    return element(
        "svg",
        "\n".join(
            [
                element("title", title, id="title"),
                element("style", STYLE + _MORE),
                element("rect", width=WIDTH, height=height, fill=_PAPER),
                text(title, (_LEFT, 32), class_="title"),
                text(right, (WIDTH - _LEFT, 32), class_="label end"),
                line((_LEFT, 42), (WIDTH - _LEFT, 42), class_="faint"),
                *drawn,
            ]
        ),
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {WIDTH:g} {height:.0f}",
        width=WIDTH,
        height=f"{height:.0f}",
        role="img",
        aria_labelledby="title",
    )


def _frame_box(curves: Curves, left: float, top: float, wide: float) -> Box:
    gate = curves.gate
    return Box(left=left, top=top, width=wide, height=wide * gate.tan_v / gate.tan_u)


def _still(curves: Curves, figures: Sequence[Figure], k: int, box: Box) -> str:
    """Return what the lens shows at sample k, clipped to the frame."""
    view = scene_view(curves, figures, k)

    def at(points: FloatArray) -> FloatArray:
        inside = np.clip(points, -8.0, 8.0)
        x = box.left + (1 + inside[..., 0]) * box.width / 2
        y = box.top + (1 - inside[..., 1]) * box.height / 2
        return np.stack([x, y], axis=-1)

    name = f"f{curves.shot}_{k}_{box.left:.0f}"
    lines = [
        element("path", class_=kind, d=_lines(at(some)))
        for kind, some in (("ground", view.coarse), ("horizon", view.horizon))
        if len(some)
    ]
    shapes = [
        element(
            "path",
            class_="courier" if one.name == "courier" else "guard",
            d="".join(_ring(at(ring)) for ring in one.rings),
        )
        for one in view.shapes
    ]
    rect = {"x": box.left, "y": box.top, "width": box.width, "height": box.height}
    return group(
        element("clipPath", element("rect", **rect), id=name),
        group(*lines, *shapes, clip_path=f"url(#{name})"),
        element("rect", class_="edge", **rect),
    )


def _lines(ends: FloatArray) -> str:
    return "".join(
        f"M{a[0]:.1f} {a[1]:.1f}L{b[0]:.1f} {b[1]:.1f}" for a, b in ends.tolist()
    )


def _ring(points: FloatArray) -> str:
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points.tolist()) + "Z"


def write(folder: Path) -> None:
    """Write every picture to a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    for job in dict.fromkeys(one.job for one in PICTURES.values()):
        with tempfile.TemporaryDirectory() as takes:
            done = solve_job(FOLDER / job, place_of(takes, "takes"), workers=1)
            for name, words in pictures_of(job, done.folder):
                (folder / f"{name}.svg").write_text(words, encoding="utf-8")


if __name__ == "__main__":
    write(Path(sys.argv[1]))
