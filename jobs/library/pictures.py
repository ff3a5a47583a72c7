"""What a notebook shows of a result: the frame and the plan of a take, and its numbers.

The drawing is an image inside the page, so the notebook's style and its own do not
mix; nothing is fetched.
"""

from base64 import b64encode
from html import escape
from typing import TYPE_CHECKING

from ..review.picture import picture
from ..review.shown import shown_of

if TYPE_CHECKING:
    from .results import SequenceResult, ShotResult, TakeResult

_MEASURES = (
    ("head_in_frame", "head in frame", "{:.0%}"),
    ("drift_max", "most drift, half frames", "{:.2f}"),
    ("pan_max_speed_deg_s", "fastest pan, deg/s", "{:.1f}"),
    ("dolly_m", "dolly, m", "{:.2f}"),
    ("closest_m", "closest, m", "{:.2f}"),
)
_WIDTH_PX = 720


def take_html(take: "TakeResult") -> str:
    """Return the frame, the plan and the main measures of a take."""
    svg = b64encode(picture(shown_of(take.table)).encode()).decode()
    measures = take.measures
    rows = "".join(
        f"<tr><td>{words}</td><td>{form.format(value)}</td></tr>"
        for name, words, form in _MEASURES
        if (value := getattr(measures, name)) is not None
    )
    words = f"Shot {escape(take.shot)}: plan, frame and speeds"
    return (
        f'<img alt="{words}" width="{_WIDTH_PX}" '
        f'src="data:image/svg+xml;base64,{svg}"/><table>{rows}</table>'
    )


def shot_html(shot: "ShotResult") -> str:
    """Return a shot's take and its findings, or why it has none."""
    if shot.take is None:
        return f"<b>{escape(shot.name)}</b> {shot.status}: {escape(shot.error or '')}"
    listed = "".join(
        f"<li>{one.severity}: {escape(one.text)}</li>" for one in shot.findings
    )
    return f"{take_html(shot.take)}<ul>{listed}</ul>"


def sequence_html(sequence: "SequenceResult") -> str:
    """Return a line a shot."""
    rows = "".join(
        f"<tr><td>{escape(one.name)}</td><td>{one.status}</td>"
        f"<td>{len(one.findings)} findings</td>"
        f"<td>{escape(one.error or '')}</td></tr>"
        for one in sequence
    )
    return f"<b>{escape(sequence.name)}</b><table>{rows}</table>"
