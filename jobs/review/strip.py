"""An action as a strip: its cameras, who is in which, and which is on when."""

from collections.abc import Mapping, Sequence
from fractions import Fraction
from html import escape
from typing import Any

from ..takes.actions import CoveredAction, CutPicture
from ..takes.news_words import news_line
from .svg import Box, Scale, element, group, line, text

_LEFT, _RIGHT, _ROW, _TOP = 110.0, 990.0, 30.0, 22.0
_BAR, _THREAD, _APART = 9.0, 2.5, 4.0
_LENGTHS, _LENGTH_ROOM = 14.0, 24.0  # a line of lengths, those that have room


def strip(action: CoveredAction, shades: Mapping[str, int]) -> str:
    """Return the drawing of an action, 1000 units wide.

    A camera has a row: a bar where it is on, and below it a thread a person where
    that person's head is in its picture. Upright lines are cuts, numbered by frame, and
    below stand the lengths of the pictures. A bar leads to its first frame.

    Args:
        action: what came of it.
        shades: number of the shade of each person.
    """
    first, last = action.frames
    scale = Scale(low=first, high=last + 1, start=_LEFT, end=_RIGHT)
    deep = _BAR + _THREAD + _APART * max(map(len, action.shown.values()), default=1)
    row = max(_ROW, deep + 6)
    bodies, rows = [], {}
    for k, camera in enumerate(action.cameras):
        box = Box(left=_LEFT, top=_TOP + k * row, width=_RIGHT - _LEFT, height=row)
        rows[camera] = box
        bodies.append(text(camera, (0, box.top + _BAR + 1)))
        for j, (person, spans) in enumerate(action.shown[camera].items()):
            y = box.top + _BAR + _APART * (j + 1)
            bodies += [
                element(
                    "rect",
                    class_=f"thread shade{shades.get(person, 0)}",
                    x=scale(a),
                    y=y,
                    width=scale(b + 1) - scale(a),
                    height=_THREAD,
                )
                for a, b in spans
            ]
    bottom = _TOP + len(rows) * row
    for one in action.pictures:
        box, start = rows[one.camera], scale(one.frames[0])
        held = scale(one.frames[1] + 1) - start
        bar = element(
            "rect", _title(action, one), class_="on", x=start, y=box.top, width=held,
            height=_BAR,
        )  # fmt: skip
        bodies.append(element("a", bar, href=f"#{one.shot}.f{one.frames[0]}"))
        bodies.append(line((start, _TOP - 4), (start, bottom), class_="cut"))
        if held >= _LENGTH_ROOM:
            at, words = (start + held / 2, bottom + _LENGTHS), _seconds(action, one)
            bodies.append(text(words, at, text_anchor="middle"))
    bodies += _numbers(action, scale)
    if action.pictures:
        bodies.append(text("seconds", (0, bottom + _LENGTHS)))
    high = f"{bottom + 4 + (_LENGTHS if action.pictures else 0):.0f}"
    return element(
        "svg",
        group(*bodies),
        class_="covered",
        viewBox=f"0 0 1000 {high}",
        role="img",
        aria_label=f"Cameras of {action.action}: who is in which, and which is on",
    )


def _seconds(action: CoveredAction, one: CutPicture) -> str:
    return f"{one.n_frames / float(Fraction(action.rate)):.1f}"


def _title(action: CoveredAction, one: CutPicture) -> str:
    """Return what is said of a picture where the pointer rests on it."""
    first, last = one.frames
    words = f"{one.camera} {first}\u2013{last}, {_seconds(action, one)} s"
    return element("title", escape(words, quote=False))


def _numbers(action: CoveredAction, scale: Scale) -> list[str]:
    """Return the frames of cuts, those that have room."""
    written, free = [], -1e9
    for one in action.pictures:
        at = scale(one.frames[0])
        if at >= free:
            written.append(text(str(one.frames[0]), (at, _TOP - 8)))
            free = at + 44
    return written


def picture_words(action: CoveredAction) -> list[dict[str, Any]]:
    """Return a line a picture of the cut: camera, frames, what it brings, and why."""
    found = []
    for k, one in enumerate(action.pictures):
        found.append(
            {
                "shot": one.shot,
                "camera": one.camera,
                "frames": f"{one.frames[0]}\u2013{one.frames[1]}",
                "first": one.frames[0],
                "seconds": f"{_seconds(action, one)} s",
                "liked": _liked(action, one),
                "brings": news_line(one.brings) if k else "",
                "costs": _costs({**one.parts, **one.cut}),
                "others": "; ".join(_others(one.other_time, one.other_camera)),
                "findings": " ".join(each["text"] for each in one.findings),
            }
        )
    return found


def _liked(action: CoveredAction, one: CutPicture) -> str:
    """Return which length was drawn for a picture, or that it was given."""
    if action.given:
        return "as given" if one.kept else "cut anew"
    return f"drawn {one.liked_s:.1f} s"


def _costs(parts: Mapping[str, float]) -> str:
    """Return what a picture costs, the dearest first."""
    ranked = sorted(parts.items(), key=lambda part: -abs(part[1]))
    return ", ".join(
        f"{name.replace('_', ' ')} {points:.1f}"
        for name, points in ranked
        if abs(points) >= 0.05
    )


def _others(
    time: Mapping[str, Any] | None, camera: Mapping[str, Any] | None
) -> Sequence[str]:
    found = []
    if time is not None:
        found.append(f"at {time['frame']} instead: {_more(time['more'])}")
    if camera is not None:
        found.append(f"to {camera['camera']} instead: {_more(camera['more'])}")
    return found


def _more(points: float) -> str:
    return f"{abs(points):.1f} points {'less' if points < 0 else 'more'}"
