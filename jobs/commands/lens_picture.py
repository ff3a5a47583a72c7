"""Draws what the lenses of a kit show: from above, and where a person has which size.

carrellata lenses --picture lenses.svg
"""

from collections.abc import Sequence
from math import radians, tan
from pathlib import Path

from ...solver.action.body import EYES, SIZES, fill_of, span_of
from ..job.camera import CameraSpec
from ..places.atomic import write_whole
from ..review.svg import Box, Scale, element, group, line, path, round_step, text
from .lens_table import LensRow

WIDTH = 900
_LEFT, _RIGHT = 24.0, 492.0
_ABOVE = Box(left=_LEFT, top=76, width=420, height=440)
_ROW_PX, _TOP = 34.0, 100.0
_FRAMES_TOP = 556.0
_FRAMED = "medium"  # the size whose frames are drawn in the plan
_LEAST_APART_PX = 15.0

_STYLE = """
text{font-family:Helvetica,Arial,sans-serif;font-size:12px;fill:#23272b}
.title{font-size:17px;font-weight:bold}
.heading{font-size:13px;font-weight:bold}
.label,.label text{fill:#565b60}
.middle,.middle text{text-anchor:middle}
.end{text-anchor:end}
.faint{stroke:#dedace;stroke-width:1}
.axis{stroke:#23272b;stroke-width:1.2}
.edge{fill:none;stroke:#23272b;stroke-width:1.3}
.view{stroke:#1d5d9b;stroke-width:1.1;stroke-opacity:.75}
.frame{stroke:#c2410c;stroke-width:2.4}
.mark{fill:#c2410c;stroke:#fbfaf5;stroke-width:1.2}
.near{fill:#fbfaf5;stroke:#c2410c;stroke-width:1.4}
.size{stroke:#e3c9b8;stroke-width:1.2}
.sharp{stroke:#1d5d9b;stroke-width:3;stroke-opacity:.35}
.camera{fill:#fbfaf5;stroke:#1d5d9b;stroke-width:1.8;stroke-linejoin:round}
.lens,.metres{paint-order:stroke;stroke:#fbfaf5;stroke-width:4px}
.metres{fill:#565b60}
.body{fill:#c9c4b6;stroke:none}
"""


def lens_picture(
    rows: Sequence[LensRow], *, height_m: float, headroom: float, aspect: float
) -> str:
    """Return an SVG of what lenses show.

    Args:
        rows: a lens each, with its sizes, shortest first.
        height_m: stature of the person [m].
        headroom: share of the frame height.
        aspect: width of the delivered frame over its height.
    """
    low = max(_FRAMES_TOP, _TOP + _ROW_PX * len(rows) + 60)
    height = low + 132
    return element(
        "svg",
        "\n".join(
            [
                element("title", "What the lenses show", id="title"),
                element("desc", _words(rows, height_m), id="desc"),
                element("style", _STYLE),
                element("rect", width=WIDTH, height=height, fill="#fbfaf5"),
                text("What the lenses show", (_LEFT, 32), class_="title"),
                text(
                    f"a person of {height_m:g} m, frame {aspect:.2f} : 1",
                    (WIDTH - _LEFT, 32),
                    class_="label end",
                ),
                line((_LEFT, 42), (WIDTH - _LEFT, 42), class_="faint"),
                _from_above(rows),
                _distances(rows),
                _frames(low, headroom, aspect),
            ]
        ),
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {WIDTH} {height:g}",
        width=WIDTH,
        height=height,
        role="img",
        aria_labelledby="title desc",
    )


def draw_lenses(
    file: Path,
    camera: CameraSpec,
    rows: Sequence[LensRow],
    *,
    height_m: float,
    headroom: float,
) -> None:
    """Write the picture of a camera's lenses, whole or not at all.

    Args:
        file: an SVG file.
        camera: whose lenses they are.
        rows: a lens each.
        height_m: stature of the person [m].
        headroom: share of the frame height.

    Raises:
        OSError: it could not be written.
    """
    tx, ty = camera.gate.half_tangents(rows[0].mm)
    svg = lens_picture(rows, height_m=height_m, headroom=headroom, aspect=tx / ty)
    write_whole(file, f"{svg}\n".encode())


def _from_above(rows: Sequence[LensRow]) -> str:
    """Return every lens's angle of view from above, to scale, with one frame each."""
    box, foot = _ABOVE, _ABOVE.bottom - 16
    middle = box.left + box.width / 2
    reach = 1.06 * max(_stand(row, _FRAMED) for row in rows)
    px = (foot - box.top) / reach
    drawn = [
        text("From above, to scale", (box.left, 64), class_="heading"),
        *_metres(reach, px, foot),
    ]
    for row in rows:
        slope = tan(radians(row.horizontal_deg) / 2)
        far = min(reach, (box.width / 2 - 4) / (px * slope))
        for way in (-1.0, 1.0):
            end = middle + way * px * far * slope, foot - px * far
            drawn.append(line((middle, foot), end, class_="view"))
    taken = -_LEAST_APART_PX
    for row in rows:
        distance = _stand(row, _FRAMED)
        half = px * distance * tan(radians(row.horizontal_deg) / 2)
        at = foot - px * distance
        drawn.append(line((middle - half, at), (middle + half, at), class_="frame"))
        drawn.append(element("circle", class_="mark", cx=middle, cy=at, r=4.2))
    for row in reversed(rows):  # from the top down
        distance = _stand(row, _FRAMED)
        half = px * distance * tan(radians(row.horizontal_deg) / 2)
        taken = max(foot - px * distance, taken + _LEAST_APART_PX)
        words = f"{row.mm:g} mm, {row.horizontal_deg:.0f}\u00b0"
        drawn.append(text(words, (middle + half + 8, taken + 4), class_="lens"))
    drawn.append(
        element("path", class_="camera", d=f"M{middle:.2f} {foot + 2:g}l-7 12h14Z")
    )
    drawn.append(
        text(
            f"bars: the frame where each lens shows a {_FRAMED}",
            (box.left, box.bottom + 16),
            class_="label",
        )
    )
    return group(*drawn, id="above")


def _metres(reach: float, px: float, foot: float) -> list[str]:
    step = round_step(reach / 6)
    drawn = []
    for k in range(1, int(reach / step) + 1):
        at = foot - px * k * step
        drawn.append(line((_ABOVE.left, at), (_ABOVE.right, at), class_="faint"))
        drawn.append(text(f"{k * step:g} m", (_ABOVE.left, at - 3), class_="metres"))
    return drawn


def _distances(rows: Sequence[LensRow]) -> str:
    """Return how far each lens stands from a person of each size."""
    left, right = _RIGHT + 52, WIDTH - _LEFT
    bottom = _TOP + _ROW_PX * len(rows)
    most = max(stand.distance_m for row in rows for stand in row.stands)
    across = Scale(low=0.0, high=1.03 * most, start=left, end=right)
    drawn = [
        text("How far off a person has which size", (_RIGHT, 64), class_="heading"),
        line((left, bottom), (right, bottom), class_="axis"),
    ]
    for metres in across.ticks(8):
        if metres <= across.high:
            x = across(metres)
            drawn.append(line((x, _TOP - 12), (x, bottom), class_="faint"))
            drawn.append(text(f"{metres:g}", (x, bottom + 16), class_="label middle"))
    drawn.append(
        text(
            "distance from lens to person, m",
            ((left + right) / 2, bottom + 32),
            class_="label middle",
        )
    )
    places = [
        [(across(row.stands[k].distance_m), _row(j)) for j, row in enumerate(rows)]
        for k in range(len(rows[0].stands))
    ]
    drawn += [path(way, class_="size") for way in places]
    for j, row in enumerate(rows):
        y = _row(j)
        drawn.append(text(f"{row.mm:g} mm", (left - 10, y + 4), class_="end"))
        for stand in row.stands:
            near, far = (across(min(one, most)) for one in (stand.near_m, stand.far_m))
            drawn.append(line((near, y + 8), (far, y + 8), class_="sharp"))
            drawn.append(
                element(
                    "circle",
                    class_="near" if stand.too_close else "mark",
                    cx=across(stand.distance_m),
                    cy=y,
                    r=4.2,
                )
            )
    last = None
    for way, stand in zip(places, rows[-1].stands, strict=True):
        x, y = way[-1]
        if last is None or last - x > 46:
            drawn.append(text(stand.size, (x, y - 9), class_="middle"))
            last = x
    return group(*drawn, _distance_key(bottom + 56), id="distances")


def _distance_key(y: float) -> str:
    x = _RIGHT
    return group(
        line((x, y - 4), (x + 22, y - 4), class_="sharp"),
        text("sharp with the focus on the person", (x + 28, y)),
        element("circle", class_="near", cx=x + 11, cy=y + 14, r=4.2),
        text("nearer than the lens focuses", (x + 28, y + 18)),
        class_="label",
    )


def _row(j: int) -> float:
    return _TOP + _ROW_PX * (j + 0.4)


def _stand(row: LensRow, size: str) -> float:
    """Return how far off a lens shows a size [m]."""
    return next(one.distance_m for one in row.stands if one.size == size)


def _frames(top: float, headroom: float, aspect: float) -> str:
    """Return the frame of each size with a person in it, in half frames."""
    count = len(SIZES)
    width = (WIDTH - 2 * _LEFT - 14 * (count - 1)) / count
    high = min(84.0, width / aspect)
    wide = high * aspect
    drawn = [text("What each size shows", (_LEFT, top), class_="heading")]
    for k, size in enumerate(SIZES):
        left = _LEFT + k * (width + 14) + (width - wide) / 2
        box = Box(left=left, top=top + 14, width=wide, height=high)
        drawn.append(_framed(box, size, headroom, k))
        drawn.append(
            text(size, (left + wide / 2, box.bottom + 16), class_="label middle")
        )
    return group(*drawn, id="frames")


def _framed(box: Box, size: str, headroom: float, k: int) -> str:
    """Return a frame and the person whom it shows, cut at its edges."""
    span = span_of(size)
    fill = fill_of(size, headroom)
    stature = box.height * fill / (span.top - span.bottom)  # px
    crown = box.top + (headroom * box.height if span.top == 1.0 else 0.0)
    crown -= (1.0 - span.top) * stature
    x = box.left + box.width / 2

    def at(share: float) -> float:
        return crown + (1.0 - share) * stature

    body = group(
        element(
            "ellipse",
            class_="body",
            cx=x,
            cy=at(EYES - 0.005),
            rx=0.045 * stature,
            ry=0.066 * stature,
        ),
        element("path", class_="body", d=_body(x, stature, at(0.83))),
        clip_path=f"url(#frame{k})",
    )
    clip = element("clipPath", _rect(box), id=f"frame{k}")
    centre = (box.top + box.bottom) / 2
    return group(
        clip,
        body,
        _rect(box, class_="edge"),
        line((x, box.top), (x, box.top + 5), class_="axis"),
        line((x, box.bottom - 5), (x, box.bottom), class_="axis"),
        line((box.left, centre), (box.left + 5, centre), class_="axis"),
        line((box.right - 5, centre), (box.right, centre), class_="axis"),
    )


def _rect(box: Box, **attributes: str) -> str:
    return element(
        "rect",
        x=box.left,
        y=box.top,
        width=box.width,
        height=box.height,
        **attributes,
    )


# From the neck down the right side and back: across and down, shares of the stature.
_OUTLINE = (
    (0.03, -0.06),
    (0.032, -0.015),
    (0.125, 0.03),
    (0.14, 0.1),
    (0.15, 0.36),
    (0.115, 0.36),
    (0.1, 0.13),
    (0.09, 0.37),
    (0.085, 0.83),
    (0.015, 0.83),
    (0.0, 0.42),
)


def _body(x: float, stature: float, neck: float) -> str:
    right = [(x + a * stature, neck + b * stature) for a, b in _OUTLINE]
    left = [(x - a * stature, neck + b * stature) for a, b in reversed(_OUTLINE)]
    points = "L".join(f"{a:.2f} {b:.2f}" for a, b in (*right, *left))
    return f"M{points}Z"


def _words(rows: Sequence[LensRow], height_m: float) -> str:
    each = "; ".join(
        f"{row.mm:g} mm sees {row.horizontal_deg:.0f} degrees across and shows a "
        f"medium from {_stand(row, _FRAMED):.1f} m"
        for row in rows
    )
    return f"For a person of {height_m:g} m: {each}."
