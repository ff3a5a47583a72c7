"""A real browser for tests of pages, and what it must not say or ask for."""

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from playwright.sync_api import Browser, Page, Request, sync_playwright

WIDE, NARROW, BROAD = (1280, 900), (390, 844), (1920, 1080)
_ARGUMENTS = ("--no-sandbox", "--disable-gpu", "--disable-background-networking")


@contextmanager
def chromium() -> Iterator[Browser]:
    """Run the system's browser; `sh deploy/test pages` installs it."""
    found = shutil.which("chromium")
    assert found is not None, "no chromium; run: sh deploy/test pages"
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=found, args=list(_ARGUMENTS)
        )
        yield browser
        browser.close()


@contextmanager
def opened(
    browser: Browser,
    path: Path,
    *,
    size: tuple[int, int] = WIDE,
    scheme: str = "light",
    script: bool = True,
) -> Iterator[Page]:
    """Open a page from the disk; it must say nothing and ask for nothing else.

    Only the cut's page reads more: the data of its shots, which lies beside it.
    """
    context = browser.new_context(
        viewport={"width": size[0], "height": size[1]},
        color_scheme="dark" if scheme == "dark" else "light",
        java_script_enabled=script,
    )
    page = context.new_page()
    said: list[str] = []
    asked: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    beside = f"{path.parent.as_uri()}/data/" if path.name == "cut.html" else None

    def note(asks: Request) -> None:
        own = beside is not None and asks.url.startswith(beside)
        if not (asks.is_navigation_request() or own):
            asked.append(asks.url)

    page.on("request", note)
    page.goto(path.as_uri())
    yield page
    assert said == []
    assert asked == []
    context.close()
