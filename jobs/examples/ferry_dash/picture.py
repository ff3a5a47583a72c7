"""Draws a take of the example as one SVG: plan, frame and speeds over time.

    python -m carrellata.jobs.examples.ferry_dash.picture TAKE.parquet FILE.svg

Everything is read from the take and its subjects' tables, and the same take gives the
same bytes. `deploy/takes.svg` was made so from OUT/ferry_dash/takes/050.parquet.
"""

import sys
from pathlib import Path

import numpy as np

from ...atomic import write_whole
from .plan_view import numbers_by_place, plan_view
from .shown import Shown, read_shown
from .svg import Box, Scale, element, group, line, path, text
from .time_plots import dolly_plot, mark_numbers, pan_plot, time_axis

WIDTH, HEIGHT = 900, 590
_LEFT, _RIGHT = 24, 496
_PLAN = Box(left=_LEFT, top=76, width=424, height=462)
_FRAME = Box(left=_RIGHT, top=76, width=380, height=380)
_PAN = Box(left=_RIGHT, top=334, width=380, height=102)
_DOLLY = Box(left=_RIGHT, top=484, width=380, height=44)
_LEGEND = 572.0

_MADE = (
    "<!-- carrellata solve jobs/examples/ferry_dash/job.toml -o OUT; "
    "python -m carrellata.jobs.examples.ferry_dash.picture TAKE.parquet FILE.svg -->"
)
_STYLE = """
text{font-family:Helvetica,Arial,sans-serif;font-size:12px;fill:#23272b}
.title{font-size:17px;font-weight:bold}
.heading{font-size:13px;font-weight:bold}
.label,.label text{fill:#565b60}
.middle,.number{text-anchor:middle}
.end text,text.end{text-anchor:end}
.number{font-weight:bold;paint-order:stroke;stroke:#fbfaf5;stroke-width:3px}
.faint{stroke:#dedace;stroke-width:1}
.axis{stroke:#23272b;stroke-width:1.2}
.edge{fill:none;stroke:#23272b;stroke-width:1.5}
.sleeper{stroke:#c9c4b6;stroke-width:1.5}
.rail{stroke:#23272b;stroke-width:1.6}
.view{stroke:#1d5d9b;stroke-width:.8;stroke-opacity:.65}
.camera{fill:#fbfaf5;stroke:#1d5d9b;stroke-width:1.8;stroke-linejoin:round}
.pan{stroke:#1d5d9b;stroke-width:2;stroke-linejoin:round}
.decision{stroke:#1d5d9b;stroke-width:1.6}
.subject,.bearing{stroke:#c2410c;stroke-width:2;stroke-linejoin:round}
.other{stroke-dasharray:6 3}
.mark{fill:#c2410c;stroke:#fbfaf5;stroke-width:1.2}
.asked{stroke:#23272b;stroke-width:1.5}
"""


def picture(shown: Shown) -> str:
    """Return the SVG of a take."""
    first, last = shown.frames[[0, -1]]
    return element(
        "svg",
        "\n".join(
            [
                _MADE,
                element("title", f"Shot {shown.shot} as operated", id="title"),
                element("desc", _words(shown), id="desc"),
                element("style", _STYLE),
                element("rect", width=WIDTH, height=HEIGHT, fill="#fbfaf5"),
                text(f"Shot {shown.shot}", (_LEFT, 32), class_="title"),
                text(
                    f"frames {first}\u2013{last}, {shown.facts}",
                    (WIDTH - _LEFT, 32),
                    class_="label end",
                ),
                line((_LEFT, 42), (WIDTH - _LEFT, 42), class_="faint"),
                text("From above, to scale", (_LEFT, 64), class_="heading"),
                plan_view(shown, _PLAN),
                _plan_legend(len(shown.marks)),
                _frame_view(shown, _FRAME),
                _speeds(shown),
            ]
        ),
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {WIDTH} {HEIGHT}",
        width=WIDTH,
        height=HEIGHT,
        role="img",
        aria_labelledby="title desc",
    )


def _plan_legend(n_marks: int) -> str:
    return group(
        element("path", class_="camera", d=f"M{_LEFT + 7} {_LEGEND}l-6 -11h12Z"),
        text("camera and its view", (_LEFT + 20, _LEGEND - 1)),
        element("circle", class_="mark", cx=_LEFT + 157, cy=_LEGEND - 5, r=4.5),
        text("subject", (_LEFT + 167, _LEGEND - 1)),
        text(f"1\u2013{n_marks}", (_LEFT + 230, _LEGEND - 1), class_="heading"),
        text("the same moments everywhere", (_LEFT + 262, _LEGEND - 1)),
        class_="label",
    )


def _frame_view(shown: Shown, box: Box) -> str:
    """Return the frame with the trace of the followed point through it."""
    box = Box(
        left=box.left, top=box.top, width=box.width, height=box.width / shown.aspect
    )
    across = Scale(low=-1, high=1, start=box.left, end=box.right)
    up = Scale(low=-1, high=1, start=box.bottom, end=box.top)
    trace = np.where(shown.anew[:, None], np.nan, shown.place)
    places = [(across(u), up(v)) for u, v in shown.place]
    asked = sorted({(across(u), up(v)) for u, v in shown.asked[list(shown.marks)]})
    low = box.bottom + 18
    return group(
        text(
            f"Through the lens, {shown.aspect:.2f} : 1",
            (box.left, box.top - 12),
            class_="heading",
        ),
        *(
            group(
                line((across(k), box.top), (across(k), box.bottom), class_="faint"),
                line((box.left, up(k)), (box.right, up(k)), class_="faint"),
            )
            for k in (-1 / 3, 1 / 3)
        ),
        element(
            "rect",
            class_="edge",
            x=box.left,
            y=box.top,
            width=box.width,
            height=box.height,
        ),
        path([(across(u), up(v)) for u, v in trace], class_="subject"),
        *(_cross(x, y) for x, y in asked),
        *(
            element("circle", class_="mark", cx=places[k][0], cy=places[k][1], r=4.5)
            for k in shown.marks
        ),
        *(
            text(words, (places[k][0], places[k][1] - 10), class_="number")
            for k, words in numbers_by_place(shown.marks, places)
        ),
        group(
            path([(box.left, low - 4), (box.left + 18, low - 4)], class_="subject"),
            text("subject, frame by frame", (box.left + 24, low)),
            _cross(box.left + 192, low - 4),
            text("where it was asked for", (box.left + 206, low)),
            class_="label",
        ),
        id="frame",
    )


def _cross(x: float, y: float) -> str:
    return path(
        [(x - 8, y), (x + 8, y), (np.nan, np.nan), (x, y - 8), (x, y + 8)],
        class_="asked",
    )


def _speeds(shown: Shown) -> str:
    """Return both plots over one axis of time."""
    left, right = _PAN.left, _PAN.right
    low, lower = _PAN.top - 22, _DOLLY.top - 10
    lag = [] if shown.lag_s is None else [f"pan lags by {shown.lag_s:.2f} s"]
    return group(
        text("Turning, deg/s", (left, low - 20), class_="heading"),
        *(text(words, (right, low - 20), class_="end") for words in lag),
        group(
            path([(left, low - 4), (left + 18, low - 4)], class_="bearing"),
            text("subject\u2019s bearing", (left + 24, low)),
            path([(left + 140, low - 4), (left + 158, low - 4)], class_="pan"),
            text("camera\u2019s pan", (left + 164, low)),
            line((left + 264, low - 10), (left + 264, low + 1), class_="decision"),
            text("decision", (left + 272, low)),
            class_="label",
        ),
        mark_numbers(shown, _PAN, low=_PAN.top - 4),
        pan_plot(shown, _PAN),
        text("Dolly, m/s", (left, lower), class_="heading"),
        dolly_plot(shown, _DOLLY),
        time_axis(shown, _DOLLY, top=_DOLLY.bottom + 18),
        text(
            "time from the first frame of the cut, s",
            ((left + right) / 2, _LEGEND - 1),
            class_="label middle",
        ),
        id="speeds",
    )


def _words(shown: Shown) -> str:
    """Return what is to be seen, for those who cannot see it."""
    dolly_m = float(np.hypot(*np.diff(shown.camera, axis=0).T).sum())
    late = "" if shown.lag_s is None else f", {shown.lag_s:.2f} s behind it"
    return (
        f"Left, the plan of the shot: the camera moves {dolly_m:.1f} m along its rail "
        f"and turns after the {' and the '.join(shown.subjects)}. Right, the trace of "
        "the subject through the frame; below it the speed of the subject's bearing "
        f"and that of the camera's pan{late}, and the speed of the dolly, over "
        f"{shown.times_s[-1]:.1f} s."
    )


def main(arguments: list[str]) -> None:
    """Write the picture of the take at the first path to the second."""
    take_path, picture_path = map(Path, arguments)
    svg = picture(read_shown(take_path))
    write_whole(picture_path, f"{svg}\n".encode())


if __name__ == "__main__":
    main(sys.argv[1:])
