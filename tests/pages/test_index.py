"""The index of a sequence: what is wrong is seen first, and a long one stays light."""

from pathlib import Path

import pytest
from browser import NARROW, WIDE, opened
from playwright.sync_api import Browser, Locator
from sequences import long_sequence, planted

MOST_BYTES = 10_000_000


def is_on_first_screen(found: Locator, height: int) -> bool:
    box = found.bounding_box()
    return box is not None and box["y"] >= 0 and box["y"] + box["height"] <= height


@pytest.mark.slow
def test_planted_faults_are_named_on_the_first_screen(
    browser: Browser, tmp_path: Path
) -> None:
    index = planted(tmp_path)
    with opened(browser, index, size=WIDE) as page:
        for shot, name in (
            ("020", "crosses line"),
            ("030", "soft focus"),
            ("040", "subject lost"),
        ):
            item = page.locator(".opening li", has_text=name)
            item = item.filter(has=page.get_by_role("link", name=shot, exact=True))
            assert item.count() == 1, name
            assert is_on_first_screen(item, WIDE[1]), name
            assert item.locator(".state").inner_text() in ("fault", "warning")
        # The shot that is sound is not among them.
        assert page.locator(".opening section").first.get_by_text("050").count() == 0
        page.locator(".opening li a").first.click()
        assert page.locator("h1").inner_text().startswith("Shot ")
        page.go_back()


@pytest.mark.slow
@pytest.mark.parametrize("n_shots", [200, pytest.param(1000, marks=pytest.mark.long)])
def test_index_of_many_shots_is_light_and_whole(
    browser: Browser, tmp_path: Path, n_shots: int
) -> None:
    index = long_sequence(tmp_path, n_shots)
    size = index.stat().st_size
    assert size < MOST_BYTES * n_shots / 1000
    with opened(browser, index, size=NARROW) as page:
        took_ms = page.evaluate(
            "performance.getEntriesByType('navigation')[0].loadEventEnd"
        )
        print(f"{n_shots} shots: {size / 1e6:.1f} MB, loaded in {took_ms / 1000:.2f} s")
        assert page.locator(".strip li").count() == n_shots
        assert (
            page.locator("section[aria-labelledby=shots] tbody tr").count() == n_shots
        )
        assert (
            page.locator("section[aria-labelledby=cuts] tbody tr").count()
            == n_shots - 1
        )
        assert page.evaluate("document.documentElement.scrollWidth") <= NARROW[0]
