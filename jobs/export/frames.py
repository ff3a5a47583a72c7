"""The viewfinder as a sequence of pictures, with a burn-in for editorial.

The picture is the delivered frame, without overscan, through the pose with its shake.
Burnt in are sequence, shot, setup, version, lens, frame and, where the job has one,
timecode in the cut; frames of the handles say so.
"""

from collections.abc import Iterator, Sequence
from io import BytesIO
from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa

from ...solver.arrays import FloatArray
from ..job.timecode import (
    drop_frame_label_of_frame,
    frame_of_label,
    is_drop_frame,
    label_of_frame,
)
from ..takes.curves import Curves
from ..takes.row_setup import label_in_row, setup_in_row
from ..takes.sequence_table import CutClock, ShotRow
from .names import version_of
from .scene_view import SceneView, figures_of, scene_view

if TYPE_CHECKING:
    from PIL.Image import Image

PAPER, INK = (246, 243, 236), (38, 38, 40)
FINE, COARSE, HORIZON = (219, 214, 203), (178, 172, 160), (140, 134, 124)
FOLLOWED, OTHER = (52, 84, 110), (168, 158, 142)
_FINER = 2  # drawn this many times larger, so that lines are smooth
_TEXT_SHARE = 1 / 30  # of the width, but never so small that it cannot be read
_LEAST_TEXT = 11

Corners = tuple[tuple[str, str], tuple[str, str]]
"""Texts at the top and the bottom, left and right each."""


def picture_size(curves: Curves, width: int) -> tuple[int, int]:
    """Return pixels across and down; both are even, as film files want them."""
    gate = curves.gate
    width -= width % 2
    return width, max(2, 2 * round(width * gate.tan_v / gate.tan_u / 2))


def frame_rows(curves: Curves) -> list[int]:
    """Return the samples that are whole frames."""
    return [int(k) for k in np.flatnonzero(curves.sub == 0)]


def burn_in(curves: Curves, row: ShotRow, clock: CutClock, k: int) -> Corners:
    """Return what is burnt into the picture of sample `k`."""
    frame = int(curves.frame[k])
    setup = setup_in_row(row.setup)
    assert setup is not None  # who has a take has a setup
    label = label_in_row(row.setup) or setup.rig.kind
    handle = "" if curves.cut[0] <= frame <= curves.cut[1] else " handle"
    timecode = timecode_of(curves, clock, frame)
    return (
        (
            f"{curves.sequence}  {curves.shot}  setup {label}",
            f"version {version_of(curves.take_key)}",
        ),
        (
            f"{curves.focal_mm:g} mm  f/{curves.stop:g}",
            f"{timecode or ''}  {frame}{handle}".strip(),
        ),
    )


def timecode_of(curves: Curves, clock: CutClock, frame: int) -> str | None:
    """Return the timecode of a frame in the cut, None where the job has none."""
    record = clock.record(curves.shot, frame)
    if clock.timecode is None or record is None:
        return None
    start = frame_of_label(clock.timecode, curves.rate)
    if is_drop_frame(clock.timecode):
        return drop_frame_label_of_frame(start + record, curves.rate)
    return label_of_frame(start + record, curves.rate)


def frame_pictures(
    curves: Curves, table: pa.Table, row: ShotRow, clock: CutClock, width: int
) -> Iterator[tuple[int, bytes]]:
    """Yield the number and the PNG file of every frame of a take.

    Args:
        curves: the take.
        table: the same, with the bodies of its subjects.
        row: its row, for the setup.
        clock: the sequence's.
        width: pixels across.
    """
    figures = figures_of(table, curves)
    followed = table["subject"].to_pylist()
    size = picture_size(curves, width)
    for k in frame_rows(curves):
        picture = drawn(scene_view(curves, figures, k), size, followed[k])
        written(picture, burn_in(curves, row, clock, k))
        yield int(curves.frame[k]), png(picture)


def drawn(view: SceneView, size: tuple[int, int], followed: str) -> "Image":
    """Return a frame's picture without text.

    Args:
        view: what the lens shows.
        size: pixels across and down.
        followed: name of the figure that the camera follows.
    """
    from PIL import Image, ImageDraw

    width, height = size[0] * _FINER, size[1] * _FINER
    picture = Image.new("RGB", (width, height), PAPER)
    draw = ImageDraw.Draw(picture)
    thin = max(1, round(width / 1280))

    def at(points: FloatArray) -> list[tuple[float, float]]:
        # Far off the picture a number is cut off: it is out of sight all the same.
        inside = np.clip(points, -50.0, 50.0)
        x, y = (1 + inside[:, 0]) * width / 2, (1 - inside[:, 1]) * height / 2
        return list(zip(x.tolist(), y.tolist(), strict=True))

    for lines, colour, weight in (
        (view.fine, FINE, thin),
        (view.coarse, COARSE, thin),
        (view.horizon, HORIZON, 2 * thin),
    ):
        for line in lines:
            draw.line(at(line), fill=colour, width=weight)
    for shape in view.shapes:
        fill = FOLLOWED if shape.name == followed else OTHER
        for ring in shape.rings:
            draw.polygon(at(ring), outline=PAPER, width=6 * thin)
        for ring in shape.rings:
            draw.polygon(at(ring), fill=fill)
    return picture.resize(size, Image.Resampling.BOX)


def written(picture: "Image", corners: Corners) -> None:
    """Write the burn-in into the corners of a picture."""
    from PIL import ImageDraw, ImageFont

    width, height = picture.size
    letters = max(_LEAST_TEXT, round(width * _TEXT_SHARE * 0.7))
    font = ImageFont.load_default(size=letters)
    draw = ImageDraw.Draw(picture)
    margin = round(0.6 * letters)
    for y, side, texts in (
        (margin, "a", corners[0]),
        (height - margin, "d", corners[1]),
    ):
        for x, anchor, text in (
            (margin, f"l{side}", texts[0]),
            (width - margin, f"r{side}", texts[1]),
        ):
            draw.text(
                (x, y),
                text,
                fill=INK,
                font=font,
                anchor=anchor,
                stroke_width=max(1, letters // 9),
                stroke_fill=PAPER,
            )


def png(picture: "Image") -> bytes:
    """Return a picture as a PNG file; the same picture gives the same bytes."""
    out = BytesIO()
    picture.save(out, format="PNG", compress_level=4)
    return out.getvalue()


def file_names(name: str, frames: Sequence[int]) -> list[str]:
    """Return the names of a shot's pictures, numbers of one width."""
    digits = max(4, *(len(str(frame)) for frame in frames))
    return [f"{name}/{name}.{frame:0{digits}d}.png" for frame in frames]
