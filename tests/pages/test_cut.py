"""The cut plays in order, from the disk, with the keys, and stays light when long."""

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from browser import opened
from playwright.sync_api import Browser, Page
from sequences import long_sequence

from carrellata.jobs.job.timecode import drop_frame_label_of_frame, frame_of_label
from carrellata.jobs.takes.sequence_table import read_table

DROP = Fraction(30000, 1001)


def waits(page: Page, shot: str) -> None:
    page.wait_for_function("(shot) => cut.shot() === shot && cut.drawn()", arg=shot)


def press(page: Page, key: str) -> int:
    page.keyboard.press(key)
    at: int = page.evaluate("cut.at()")
    return at


@pytest.mark.slow
def test_shots_play_in_order_with_their_own_frames(
    browser: Browser, solved: Path
) -> None:
    clock = read_table(solved / "sequence.parquet").clock
    with opened(browser, solved / "review" / "cut.html") as page:
        start = 0
        for shot, (first, last) in clock.frames.items():
            page.evaluate("(k) => cut.go(k)", start)
            waits(page, shot)
            assert page.inner_text("#frame") == str(first)
            assert page.inner_text("#shot") == shot
            drawn = page.locator("#screen .trunk").first.get_attribute("d")
            page.evaluate("(k) => cut.go(k)", start + last - first)
            assert page.inner_text("#frame") == str(last)
            assert page.locator("#screen .trunk").first.get_attribute("d") != drawn
            start += last - first + 1
        assert page.evaluate("cut.total") == start
        assert page.inner_text("#timecode") == "01:00:46:11"


@pytest.mark.slow
def test_the_cut_plays_through_its_cuts_and_keeps_time(
    browser: Browser, solved: Path
) -> None:
    with opened(browser, solved / "review" / "cut.html") as page:
        waits(page, "010")
        page.clock.install(time=0)
        page.reload()
        waits(page, "010")
        page.wait_for_function("document.querySelectorAll('head script').length === 0")
        page.clock.pause_at(10_000)
        page.keyboard.press(" ")
        shown = []
        for _ in range(130):
            page.clock.run_for(40)
            shown.append(page.evaluate("[cut.at(), cut.shot()]"))
        late = 0.04 * np.arange(1, 131) * 24000 / 1001 - [at for at, _ in shown]
        assert (late >= 0).all()
        assert late.max() <= 2
        assert {shot for _, shot in shown} == {"010", "020"}
        assert page.evaluate("cut.playing()")


@pytest.mark.slow
def test_keys_act_at_once(browser: Browser, solved: Path) -> None:
    with opened(browser, solved / "review" / "cut.html") as page:
        waits(page, "010")
        assert press(page, "ArrowRight") == 1
        assert press(page, "Shift+ArrowRight") == 11
        assert press(page, "ArrowLeft") == 10
        assert press(page, "ArrowDown") == 96
        waits(page, "020")
        assert press(page, "ArrowUp") == 0
        assert press(page, "End") == page.evaluate("cut.total") - 1
        assert press(page, "Home") == 0
        press(page, " ")
        assert page.evaluate("cut.playing()")
        assert page.inner_text("#play") == "Pause"
        press(page, " ")
        assert not page.evaluate("cut.playing()")


@pytest.mark.slow
def test_a_shot_is_repeated_and_findings_are_stepped_through(
    browser: Browser, solved: Path
) -> None:
    with opened(browser, solved / "review" / "cut.html") as page:
        waits(page, "010")
        page.clock.install(time=0)
        page.reload()
        waits(page, "010")
        page.clock.pause_at(10_000)
        page.select_option("#repeat", "shot")
        page.evaluate("cut.go(80)")
        page.locator("#play").click()
        shown = []
        for _ in range(40):
            page.clock.run_for(40)
            shown.append(page.evaluate("cut.at()"))
        assert max(shown) == 95
        assert min(shown) < 30
        page.locator("#play").click()
        count = int(page.inner_text("#found").split()[0])
        assert count > 0
        page.evaluate("cut.go(0)")
        told = []
        for _ in range(count):
            page.locator("#finding_after").click()
            told.append((page.evaluate("cut.at()"), page.inner_text("#found")))
        assert len({words for _, words in told}) == count
        assert [at for at, _ in told] == sorted(at for at, _ in told)


@pytest.mark.slow
def test_an_address_names_a_shot_and_a_frame(browser: Browser, solved: Path) -> None:
    with opened(browser, solved / "review" / "cut.html") as page:
        page.goto((solved / "review" / "cut.html").as_uri() + "#050.f1402")
        waits(page, "050")
        assert page.inner_text("#frame") == "1402"
        page.locator(".cuts a", has_text="110").click()
        waits(page, "110")
        assert page.inner_text("#frame") == "1913"
    with opened(browser, solved / "review" / "050.html") as page:
        page.goto((solved / "review" / "050.html").as_uri() + "#f1402")
        assert page.inner_text("#now").startswith("frame 1402")


@pytest.mark.slow
def test_labels_are_those_of_the_timecode(browser: Browser, solved: Path) -> None:
    text = (solved / "review" / "cut.html").read_text(encoding="utf-8")
    clock = '"clock":{"start":%d,"nominal":30,"dropped":2}'
    start = frame_of_label("00:59:59;28", DROP)
    own = text.split('"clock":{')[1].split("}")[0]
    page_path = solved / "review" / "cut.html"
    page_path.write_text(text.replace(f'"clock":{{{own}}}', clock % start))
    try:
        with opened(browser, page_path) as page:
            for k in (0, 1, 2, 1799, 1800, 1801, 17_982, 120_000):
                label = page.evaluate("(k) => cut.label(k)", k)
                assert label == drop_frame_label_of_frame(start + k, DROP)
    finally:
        page_path.write_text(text)


@pytest.mark.slow
@pytest.mark.parametrize("n_shots", [200, pytest.param(2000, marks=pytest.mark.long)])
def test_a_long_cut_opens_whole_and_reads_only_what_is_reached(
    browser: Browser, tmp_path: Path, n_shots: int
) -> None:
    index = long_sequence(tmp_path, n_shots)
    path = index.parent / "cut.html"
    with opened(browser, path) as page:
        waits(page, "0000")
        took_ms = page.evaluate(
            "performance.getEntriesByType('navigation')[0].loadEventEnd"
        )
        size = path.stat().st_size
        print(f"{n_shots} shots: {size / 1e6:.1f} MB, loaded in {took_ms / 1000:.2f} s")
        assert page.locator(".cuts li").count() == n_shots
        read = page.evaluate(
            "performance.getEntriesByType('resource').filter("
            "(one) => one.name.includes('/data/')).length"
        )
        assert read <= 3
        page.keyboard.press("End")
        waits(page, f"{n_shots - 1:04d}")
