"""Shake on the page."""

import numpy as np

from . import shake_page
from .gather import Evidence
from .plots import Axis, Band, Series, chart
from .tables import cell, table

FLOOR_PX = 0.01  # what the spectrum shows at least, per root Hz


def shake(evidence: Evidence) -> str:
    """Return the section on shake."""
    rows = [
        [
            one.level, one.lens_mm, one.pan_deg, one.turn_px, one.frame_px, one.roll_px,
            one.slide_px,
        ]
        for one in evidence.shake
        if one.level != "locked"
    ]  # fmt: skip
    heads = [
        "level", "lens mm", "pan r.m.s. deg", "picture r.m.s. px", "frame to frame px",
        "side edge by roll px", "figure by shift px",
    ]  # fmt: skip
    series = [
        Series(
            name=level, x=f, y=np.where(a < FLOOR_PX, np.nan, a), colour=k, style="line"
        )
        for k, (level, (f, a)) in enumerate(
            (n, s) for n, s in evidence.spectra.items() if n != "locked"
        )
    ]
    plot = chart(
        series,
        Axis(label="Hz", low=0.1, high=12, log=True),
        Axis(label="px per root Hz", low=FLOOR_PX, high=50, log=True),
        bands=[
            Band(name="hand tremor", x=(6, 12)),
            Band(name="steps", x=(1.6, 2.3)),
            Band(name="sway", x=(0.2, 0.5)),
        ],
        title="Pan shake on a 50 mm lens, 2048 pixels wide",
        width=640,
        height=300,
    )
    settled = next(one for one in evidence.shake if one.level == "settled")
    return f"""<h2>5. Shake</h2>
<p>{shake_page.SEEDS} seeds of {shake_page.SECONDS:g} s, {shake_page.RATE_HZ:g} frames a
second, a picture {shake_page.WIDTH_PX:g} pixels wide.
Levels are shares of the frame width, so a lens changes the angle and not the
picture.</p>
<div class="one">{plot}</div>{table(heads, rows, (0, 0, 4, 2, 2, 2, 2))}
<p><b>Reading it.</b> <i>locked</i> moves nothing. <i>settled</i> moves the picture
by {cell(settled.turn_px, 1)} px and by {cell(settled.frame_px, 1)} px from frame to
frame. <i>settled</i> and <i>shoulder</i> lie under the 6 to 12 Hz of bare-hand
tremor (Lakie et al. 2015, J Physiol 593:4411), which a camera's mass lowers;
<i>rough</i> reaches into it, to 8 Hz; <i>shoulder</i> and <i>rough</i> span the
step rate of walking (near 2 Hz, Pachi &amp; Ji 2005, The Structural Engineer
83(3)). Standing sway is mostly under 1 Hz (median 0.2 to 0.5 Hz, from memory). No
measured amplitudes of cine cameras were found: the amplitudes are our choice.</p>"""
