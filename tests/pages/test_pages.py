"""Pages in a real browser: quiet, self-contained, readable, whole in print."""

import re
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from browser import BROAD, NARROW, WIDE, opened
from playwright.sync_api import Browser, Page
from pypdf import PdfReader

from carrellata.jobs.commands.look import compare

PAGES = ("index", "cut", "030", "050", "060")
LEVELS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]


def pages_of(solved: Path) -> dict[str, Path]:
    compared = solved / "review" / "compare.html"
    compare(str(solved), str(solved), page=compared)
    return {name: solved / "review" / f"{name}.html" for name in (*PAGES, "compare")}


def violations(page: Page) -> list[str]:
    """Rules of level A and AA that a page breaks, and where."""
    options = {"runOnly": {"type": "tag", "values": LEVELS}}
    found = Axe().run(page, options=options).response["violations"]
    return [
        f"{one['id']}: {node['html'][:200]}" for one in found for node in one["nodes"]
    ]


@pytest.mark.slow
# Contrast depends on the scheme and room on the size, so not every pair is looked at.
@pytest.mark.parametrize(
    ("size", "scheme"), [(WIDE, "light"), (NARROW, "dark"), (BROAD, "light")]
)
def test_pages_are_quiet_fit_the_width_and_are_accessible(
    browser: Browser, solved: Path, size: tuple[int, int], scheme: str
) -> None:
    for name, path in pages_of(solved).items():
        with opened(browser, path, size=size, scheme=scheme) as page:
            assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
            assert violations(page) == [], name


@pytest.mark.slow
@pytest.mark.parametrize("size", [WIDE, NARROW])
def test_no_type_on_a_page_is_smaller_than_ten_pixels(
    browser: Browser, solved: Path, size: tuple[int, int]
) -> None:
    smallest = """() => Math.min(...[...document.querySelectorAll("body *")]
        .filter((e) => e.checkVisibility() && [...e.childNodes].some(
            (c) => c.nodeType === 3 && c.textContent.trim()))
        .map((e) => parseFloat(getComputedStyle(e).fontSize)
            * (e.ownerSVGElement ? e.getScreenCTM().a : 1)))"""
    for path in pages_of(solved).values():
        with opened(browser, path, size=size) as page:
            assert page.evaluate(smallest) >= 10


@pytest.mark.slow
def test_every_drawing_says_what_it_shows_and_every_page_what_it_is_not(
    browser: Browser, solved: Path
) -> None:
    for path in pages_of(solved).values():
        with opened(browser, path) as page:
            for drawing in page.locator("svg[role=img]").all():
                assert drawing.get_attribute("aria-label")
            assert page.locator("h1").count() == 1
            assert "planning estimates, not clearances" in page.inner_text("footer")


@pytest.mark.slow
def test_pages_work_without_script_and_from_the_keyboard(
    browser: Browser, solved: Path
) -> None:
    review = solved / "review"
    with opened(browser, review / "050.html", script=False) as page:
        assert page.locator("#plan").is_visible()
        assert not page.locator("#controls").is_visible()
        assert page.get_by_text("The viewfinder needs script").is_visible()
    with opened(browser, review / "050.html") as page:
        page.locator("#forth").focus()
        page.keyboard.press("Enter")
        assert page.inner_text("#now").startswith("frame 1350")
        page.locator("#scrub").focus()
        page.keyboard.press("ArrowRight")
        assert page.inner_text("#now").startswith("frame 1351")
        page.keyboard.press("End")
        assert page.inner_text("#now").startswith("frame 1456")


@pytest.mark.slow
def test_print_holds_all_parts_of_a_page(browser: Browser, solved: Path) -> None:
    wanted = {
        "index": ["What failed", "The cut", "worst first", "From shot to shot", "Lens"],
        "050": ["Findings", "The frame", "From above", "the curves", "Focus and depth"],
    }
    for name, words in wanted.items():
        with opened(browser, solved / "review" / f"{name}.html", scheme="dark") as page:
            data = page.pdf(format="A4", path=solved / f"{name}.pdf")
            captions = page.locator("figcaption b, caption").all_inner_texts()
        assert len(data) > 10_000
        printed = printed_text(solved / f"{name}.pdf")
        for each in (*words, *captions, "planning estimates"):
            assert squeezed(each) in printed, each
    # The lines of a sheet that is folded away on the screen are printed.
    assert squeezed("Room:") in printed_text(solved / "index.pdf")


@pytest.mark.slow
def test_a_shot_is_printed_on_two_pages_with_three_frames_of_it(
    browser: Browser, solved: Path
) -> None:
    for path in sorted((solved / "takes").glob("*.parquet")):
        with opened(browser, solved / "review" / f"{path.stem}.html") as page:
            page.pdf(format="A4", path=solved / "shot.pdf")
            frames = page.locator(".printed .poster .trunk").evaluate_all(
                "all => all.map((one) => one.getAttribute('d'))"
            )
        assert len(PdfReader(solved / "shot.pdf").pages) == 2, path.stem
        assert len(frames) >= 3


def printed_text(path: Path) -> str:
    return squeezed(" ".join(page.extract_text() for page in PdfReader(path).pages))


def squeezed(text: str) -> str:
    """Text without what a printer's line ends and ligatures do to it."""
    return re.sub(r"[\s\u00ad]+", "", text.replace("\ufb01", "fi"))
