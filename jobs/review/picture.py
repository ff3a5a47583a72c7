"""Draws a take as one SVG: plan, frame and speeds over time.

    carrellata export takes --to picture

Everything is read from the take, and the same take gives the same bytes.
"""

import numpy as np

from ..job.rig import RIGS
from .frame_view import cross, frame_view
from .plan_view import plan_view
from .shown import Shown
from .svg import Box, element, group, line, path, text
from .time_plots import Plot, PlotLine, clock_of, time_plot

WIDTH, HEIGHT = 900, 590
_LEFT, _RIGHT = 24, 496
_PLAN = Box(left=_LEFT, top=76, width=424, height=462)
_FRAME = Box(left=_RIGHT, top=76, width=380, height=380)
_PAN = Box(left=_RIGHT, top=334, width=380, height=102)
_DOLLY = Box(left=_RIGHT, top=484, width=380, height=44)
_LEGEND = 572.0

_MADE = "<!-- drawn by carrellata export, form picture -->"
STYLE = """
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
                element("style", STYLE),
                element("rect", width=WIDTH, height=HEIGHT, fill="#fbfaf5"),
                text(f"Shot {shown.shot}", (_LEFT, 32), class_="title"),
                text(
                    f"frames {first}\u2013{last}, {_facts(shown)}",
                    (WIDTH - _LEFT, 32),
                    class_="label end",
                ),
                line((_LEFT, 42), (WIDTH - _LEFT, 42), class_="faint"),
                text("From above, to scale", (_LEFT, 64), class_="heading"),
                plan_view(shown, _PLAN),
                _plan_legend(len(shown.marks)),
                _frame(shown),
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


def _frame(shown: Shown) -> str:
    """Return the frame with the trace of the followed point through it."""
    low = _FRAME.top + _FRAME.width / shown.aspect + 18
    return group(
        text(
            f"Through the lens, {shown.aspect:.2f} : 1",
            (_FRAME.left, _FRAME.top - 12),
            class_="heading",
        ),
        frame_view(shown, _FRAME, ticks=False),
        group(
            path(
                [(_FRAME.left, low - 4), (_FRAME.left + 18, low - 4)], class_="subject"
            ),
            text("subject, frame by frame", (_FRAME.left + 24, low)),
            cross(_FRAME.left + 192, low - 4),
            text("where it was asked for", (_FRAME.left + 206, low)),
            class_="label",
        ),
    )


def _speeds(shown: Shown) -> str:
    """Return both plots over one axis of time."""
    left, right = _PAN.left, _PAN.right
    low, lower = _PAN.top - 22, _DOLLY.top - 10
    turning, moving = clock_of(shown, _PAN), clock_of(shown, _DOLLY)
    lag = [] if shown.lag_s is None else [f"pan answers after {shown.lag_s:.2f} s"]
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
        turning.numbers,
        time_plot(turning, _pan_plot(shown)),
        text("Dolly, m/s", (left, lower), class_="heading"),
        time_plot(moving, _dolly_plot(shown)),
        moving.seconds,
        text(
            "time from the first frame of the cut, s",
            ((left + right) / 2, _LEGEND - 1),
            class_="label middle",
        ),
        id="speeds",
    )


def _pan_plot(shown: Shown) -> Plot:
    return Plot(
        name="pan_plot",
        curves=(
            PlotLine(values=shown.bearing_speed, kind="bearing"),
            PlotLine(values=shown.column("pan_speed"), kind="pan"),
        ),
        decided=shown.flags("decided_pan"),
    )


def _dolly_plot(shown: Shown) -> Plot:
    return Plot(
        name="dolly_plot",
        curves=(PlotLine(values=shown.column("rail_speed"), kind="pan"),),
        decided=shown.flags("decided_dolly"),
    )


def _facts(shown: Shown) -> str:
    """Return lens, rig and crew in a few words."""
    metadata = shown.metadata
    setup = metadata.setup
    return (
        f"{setup.lens_mm:g} mm, on {RIGS[metadata.rail.kind].words}, crew \u201c"
        f"{metadata.crew.preset}\u201d, {float(shown.rate):.3f} frames/s"
    )


def _words(shown: Shown) -> str:
    """Return a description of the picture for screen readers."""
    dolly_m = float(np.hypot(*np.diff(shown.camera[:, :2], axis=0).T).sum())
    names = " and the ".join(dict.fromkeys(shown.followed))
    late = "" if shown.lag_s is None else f", {shown.lag_s:.2f} s behind it"
    return (
        f"Left, the plan of the shot: the camera moves {dolly_m:.1f} m along its rail "
        f"and turns after the {names}. Right, the trace of the subject "
        "through the frame; below it the speed of the subject's bearing "
        f"and that of the camera's pan{late}, and the speed of the dolly, over "
        f"{shown.times_s[-1]:.1f} s."
    )
