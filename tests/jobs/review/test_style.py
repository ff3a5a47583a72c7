"""What the pages' script draws is seen: every kind of line has a stroke or a fill."""

import re
from pathlib import Path

import pytest

PAGES = Path(__file__).resolve().parents[3] / "jobs/review/pages"
STYLE = (PAGES / "style.css").read_text(encoding="utf-8")
DRAWN = re.findall(
    r'node\("(?:path|circle)", "([\w ]+)"', (PAGES / "picture.js").read_text("utf-8")
)


def test_the_script_draws_what_this_looks_for() -> None:
    assert {"grid", "built", "built before", "rails", "ground", "post"} <= set(DRAWN)


@pytest.mark.parametrize("kind", sorted({name.split()[0] for name in DRAWN}))
def test_a_line_of_the_viewfinder_has_a_colour(kind: str) -> None:
    rules = re.findall(r"([^{}]+)\{([^{}]*)\}", STYLE)
    own = [
        body
        for selectors, body in rules
        if re.search(rf"\.{kind}(?![\w-])", selectors)
        and not selectors.strip().startswith(".over ")
    ]
    inherits = kind in ("crease", "head", "nose", "safe", "room", "trunk")
    assert inherits or re.search(r"(stroke|fill):var", "".join(own)), kind
