"""Pages as files: style and script inside, and a policy that allows nothing else.

Only the page that plays the cut reads more, the data of its shots, which lie beside it.
"""

import base64
import hashlib
from functools import cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from .kept_templates import KeptTemplates
from .svg import element, line, path

_PAGES = Path(__file__).parent / "pages"
_PICTURE = ("picture.js",)
_SCRIPTS = {
    "shot.html": (*_PICTURE, "player.js", "notes.js", "shot.js", "decide.js"),
    "index.html": (*_PICTURE, "notes.js", "posters.js", "written.js", "gather.js"),
    "compare.html": (*_PICTURE, "player.js", "overlay.js", "compare.js"),
    "cut.html": (*_PICTURE, "player.js", "cut.js"),
}
_READS_MORE = ("cut.html",)
_SAVES = ("index.html",)
_SELF = "'self'"
OWN_PAGES = ("index", "cut")
"""Pages of the sequence itself, which a shot of that name does not take."""


def page(template: str, **values: Any) -> str:
    """Return a page.

    Args:
        template: name of a file in `pages`.
        values: what it shows; everything is escaped but what is `Markup`.
    """
    return (
        _environment()
        .get_template(template)
        .render(
            policy=Markup(policy(template)),
            script=Markup(script(template)),
            **values,
        )
    )


def page_name(shot: str) -> str:
    """Return the file of a shot's page; index and cut keep their own names."""
    return f"{shot}.shot.html" if shot.lower() in OWN_PAGES else f"{shot}.html"


@cache
def style() -> str:
    """Return the style of all pages."""
    return (_PAGES / "style.css").read_text(encoding="utf-8")


@cache
def script(template: str) -> str:
    """Return the script of a page, "" where it has none."""
    return "".join(
        (_PAGES / name).read_text(encoding="utf-8")
        for name in _SCRIPTS.get(template, ())
    )


@cache
def policy(template: str) -> str:
    """Return the content security policy of a page: this style and this script.

    The page of the cut may also run files beside it, which hold the data of its shots;
    a page from the disk may not fetch them. The index may save decisions where it came
    from, if a service sent it.
    """
    own = script(template)
    allowed = [f"'{_digest(own)}'"] if own else ["'none'"]
    if template in _READS_MORE:
        allowed.append(_SELF)
    return (
        f"default-src 'none'; style-src '{_digest(style())}'; "
        f"script-src {' '.join(allowed)}; img-src data:; base-uri 'none'; "
        f"form-action 'none'{'; connect-src ' + _SELF if template in _SAVES else ''}"
    )


def _digest(text: str) -> str:
    digest = hashlib.sha256(text.encode()).digest()
    return f"sha256-{base64.b64encode(digest).decode()}"


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=FileSystemLoader(_PAGES),
        bytecode_cache=KeptTemplates(),
        autoescape=True,
        undefined=StrictUndefined,
        auto_reload=False,
    )
    environment.filters["page"] = page_name
    environment.filters["sentence"] = _sentence
    environment.globals.update(
        style=Markup(style()),
        symbols=_symbols(),
    )
    return environment


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:].rstrip('.')}."


def _symbols() -> dict[str, Markup]:
    """Return the drawing of each class of line or mark, for keys."""
    lines = (
        "subject",
        "bearing",
        "pan",
        "was",
        "pan other",
        "corridor",
        "limit",
        "flagged",
    )
    drawn = {
        kind: path([(1, 7), (25, 7)], class_=kind)
        for kind in (*lines, "pan", "pan other")
    }
    drawn |= {
        "mark": element("circle", class_="mark", cx=13, cy=7, r=4.5),
        "camera": element("path", class_="camera", d="M13 2l6 10h-12Z"),
        "asked": path([(5, 7), (21, 7)], class_="asked")
        + path([(13, 1), (13, 13)], class_="asked"),
        "decision": line((13, 2), (13, 12), class_="decision"),
        "rail": line((1, 4), (25, 4), class_="rail")
        + line((1, 10), (25, 10), class_="rail"),
        "floor": path([(1, 7), (25, 7)], class_="floor"),
        "wall": line((2, 7), (24, 7), class_="wall"),
        "keep_out": element("rect", class_="keep_out", x=4, y=1, width=18, height=12)
        + path([(4, 13), (16, 1)], class_="hatch")
        + path([(10, 13), (22, 1)], class_="hatch"),
        "number": element("text", "1", class_="number", x=13, y=12),
    }
    return {
        kind: Markup(
            element("svg", body, viewBox="0 0 26 14", width=26, height=14)
        ).replace("<svg", Markup('<svg aria-hidden="true"'), 1)
        for kind, body in drawn.items()
    }
