"""The page of one shot, and what the index keeps of it."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from markupsafe import Markup

from ...solver.action.body import SIZES
from ..job.rate import rate_text
from ..takes.claim_words import asked_words, done_words, missed_words
from ..takes.metadata import ShotBrief
from ..takes.news_words import news_line
from .curves import curves
from .grip_sheet import sheet_words
from .made_takes import takes_table
from .moments import moment_of, worst_row
from .rows import SequenceRow
from .shell import page
from .shown import Shown
from .spectrum import shake_spectrum
from .stage import stage_of
from .viewfinder import MOST_PLAYED, poster_data, shot_script, viewfinder_data
from .views import frame_drawing, plan_drawing
from .why import why_of
from .words import figure, lens_words, percent, rig_words, size_words

_STILL_M_S = 0.3
N_SHADES = 6
"""Shades that people are told apart by; a seventh has the first one's."""


@dataclass(frozen=True, kw_only=True, slots=True)
class End:
    """The subject at one end of a cut: its name, place, size and screen travel."""

    subject: str
    u: float
    v: float
    size: float
    travel_m_s: float


@dataclass(frozen=True, kw_only=True, slots=True)
class IndexedTake:
    """What the index keeps of a take.

    Attributes:
        size: that was asked for.
        aspect: of its frame, width over height.
        rate: frames a second, as a fraction.
        script_bytes: length of the file that the page of the cut runs.
        frames: first and last of the cut.
        poster: data of its first, middle, last and worst frame, as JSON.
        moments: frame at which each of the row's findings is best seen.
        ends: both ends of the cut.
        sheet: lines of the grip's sheet.
    """

    size: str
    aspect: float
    rate: str
    script_bytes: int
    frames: tuple[int, int]
    poster: str
    moments: tuple[int, ...]
    ends: tuple[End, End]
    sheet: list[str]


@dataclass(frozen=True, kw_only=True, slots=True)
class ShotPage:
    """A shot's page, what other pages keep of it, and the script that the cut runs."""

    text: str
    kept: IndexedTake | None
    script: str


def shot_page(
    row: SequenceRow,
    shown: Shown | None,
    *,
    before: str | None,
    after: str | None,
    changes: Sequence[str] = (),
    people: Sequence[str] = (),
) -> ShotPage:
    """Return the page of a shot, and what other pages keep of its take.

    Args:
        row: of the shot.
        shown: its current take; None: it has none.
        before: name of the shot before; None at the start.
        after: name of the shot after; None at the end.
        changes: what is another since the last solve.
        people: names of all subjects of the sequence, which gives each its shade.
    """
    sheet = [] if shown is None else _sheet(shown)
    values: dict[str, Any] = {
        "row": row,
        "sequence": row.plain["sequence"],
        "before": before,
        "after": after,
        "changes": changes,
        "grip": sheet,
        "why": why_of(
            row.plain.get("why"),
            row.plain.get("runner_up"),
            None if shown is None else shown.metadata.world,
        ),
        "earlier": row.failed and shown is not None,
        "facts": f"scene {row.scene}",
        "drawings": None,
        "moments": (),
        "brings": news_line(json.loads(row.plain.get("brings") or "[]")),
        "claims": [
            (one["held"], asked_words(one), done_words(one), missed_words(one))
            for one in json.loads(row.plain.get("claims") or "[]")
        ],
        "takes": takes_table(row.plain.get("takes")),
        "take_key": None if row.failed else row.plain["take_key"],
        "sizes": list(SIZES),
        "lens": lens_words(row.setup).removesuffix(" mm"),
        "open_findings": [(one.name, one.title) for one in row.without_accepted()],
    }
    data, kept, script = None, None, ""
    if shown is not None:
        if len(shown.frames) <= MOST_PLAYED:
            data = viewfinder_data(shown, people)
            script = shot_script(row.shot, data)
        kept = _kept(row, shown, sheet, people, len(script.encode()))
        shake = shake_spectrum(shown)
        drawn = [*curves(shown), *([] if shake is None else [shake])]
        values |= {
            "facts": _facts(row, shown),
            "drawings": {
                "frame": frame_drawing(shown),
                "plan": plan_drawing(shown),
                "curves": drawn,
                "shakes": shake is not None,
            },
            "data": None if data is None else Markup(data),
            "moments": kept.moments,
            "people": shades(people, [body.name for body in shown.bodies]),
            "keep_outs": [one.name for one in stage_of(shown.metadata).keep_outs],
            "set": bool(shown.metadata.set),
            "rate": rate_text(shown.rate),
            "high": f"{1000 / shown.aspect:.1f}",
            "frames": [int(shown.frames[0]), int(shown.frames[-1])],
            "setup": _setup(shown),
        }
    return ShotPage(text=page("shot.html", **values), kept=kept, script=script)


def shades(people: Sequence[str], names: Sequence[str]) -> list[tuple[str, int]]:
    """Return each of some names with the number of its shade in a sequence."""
    order = list(dict.fromkeys([*people, *names]))
    return [(name, order.index(name) % N_SHADES) for name in names]


def _sheet(shown: Shown) -> list[str]:
    """Return the grip's sheet of a take, a line each, the notice first."""
    return sheet_words(shown.metadata.grip_sheet)


def _facts(row: SequenceRow, shown: Shown) -> str:
    first, last = shown.frames[[0, -1]]
    seconds = len(shown.frames) / float(shown.rate)
    return (
        f"Scene {row.scene}, frames {first}\u2013{last}, {seconds:.1f} s, "
        f"{lens_words(shown.metadata.setup)}, "
        f"{rig_words(shown.metadata.setup)}, "
        f"{size_words(shown.metadata.asked)}."
    )


def _setup(shown: Shown) -> list[tuple[str, str]]:
    metadata = shown.metadata
    setup, crew, measured = metadata.setup, metadata.crew, metadata.measure
    operator, grip = crew.operator, crew.grip
    heights = shown.camera[:, 2]
    low, high = (f"{height:.2f}" for height in (heights.min(), heights.max()))
    height = low if low == high else f"{low} to {high}"
    rig = f"{rig_words(setup)}, lens {height} m up"
    if len(shown.rail) > 1:
        length = float(np.hypot(*np.diff(shown.rail, axis=0).T).sum())
        rig += (
            f", {length:.1f} m of rail, {measured('dolly_m'):.1f} m used, at most "
            f"{measured('dolly_max_speed_m_s'):.2f} m/s"
        )
    reaction = f"reaction {operator['reaction_s']:g} s"
    return [
        ("Rig", rig),
        (
            "Lens",
            f"{lens_words(setup)}, f/{shown.columns['stop'][0]:g}, circle of "
            f"confusion {metadata.asked.coc_mm:g} mm",
        ),
        ("Asked", _framing(metadata.asked)),
        (
            "Operator",
            f"{crew.preset}, {reaction}, at most {operator['max_speed']:g} deg/s "
            f"and {operator['max_accel']:g} deg/s\u00b2",
        ),
        ("Grip", f"at most {grip['max_speed']:g} m/s, {grip['max_accel']:g} m/s\u00b2"),
        ("Focus", f"by {crew.focus_method}"),
        (
            "Measured",
            f"head in frame {percent(measured('head_in_frame'))}, size kept "
            f"{percent(measured('size_kept'))}, most drift "
            f"{figure(measured('drift_max'), '.2f')} half frames, "
            f"closest {figure(measured('closest_m'), '.2f', ' m')}",
        ),
    ]


def _framing(asked: ShotBrief) -> str:
    framing = asked.framing
    parts = [size_words(asked), f"angle {framing['angle']}"]
    if framing["place"] is not None:
        parts.append("at u {:g}, v {:g}".format(*framing["place"]))
    for name in ("headroom", "lead_room", "look_room"):
        if framing[name]:
            parts.append(f"{name.replace('_', ' ')} {framing[name]:g}")
    cues = [f"frame {cue['frame']}" for cue in asked.cues]
    if cues:
        parts.append(f"cues at {', '.join(cues)}")
    return ", ".join(parts)


def _kept(
    row: SequenceRow,
    shown: Shown,
    sheet: list[str],
    people: Sequence[str],
    script_bytes: int,
) -> IndexedTake:
    last = len(shown.frames) - 1
    worst = worst_row(shown, row.findings)
    return IndexedTake(
        size=size_words(shown.metadata.asked),
        aspect=shown.aspect,
        rate=str(shown.rate),
        script_bytes=script_bytes,
        frames=(int(shown.frames[0]), int(shown.frames[last])),
        poster=poster_data(shown, (0, last // 2, last, worst), people),
        moments=tuple(
            int(shown.frames[moment_of(finding, shown)]) for finding in row.findings
        ),
        ends=(_end(shown, 0), _end(shown, -1)),
        sheet=sheet,
    )


def _end(shown: Shown, row: int) -> End:
    return End(
        subject=shown.followed[row],
        u=float(shown.place[row, 0]),
        v=float(shown.place[row, 1]),
        size=float(shown.columns["subject_size"][row]),
        travel_m_s=_travel(shown, row),
    )


def _travel(shown: Shown, row: int) -> float:
    """Return how fast the followed subject moves toward screen right [m/s].

    Args:
        shown: the take.
        row: its first or its last, 0 or -1.
    """
    if len(shown.times_s) < 2:
        return 0.0
    before, after = (0, 1) if row == 0 else (-2, -1)
    (floor,) = (body.floor for body in shown.bodies if body.name == shown.followed[row])
    seconds = shown.times_s[after] - shown.times_s[before]
    x, y = ((floor[after] - floor[before]) / seconds)[:2].tolist()
    pan_rad = shown.pan_rad[row]
    return float(x * np.cos(pan_rad) + y * np.sin(pan_rad)) + 0.0  # never -0.0


def travel_words(travel_m_s: float) -> str:
    """Return which way a subject crosses the screen."""
    if abs(travel_m_s) < _STILL_M_S:
        return "none"
    return "\u2192 right" if travel_m_s > 0 else "\u2190 left"
