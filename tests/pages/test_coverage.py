"""The page of the cut plays an action's pictures, and all its cameras at one moment."""

from pathlib import Path

import pytest
from browser import opened
from command_line import run
from playwright.sync_api import Browser


@pytest.fixture(scope="module")
def covered(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("covered")
    job = folder / "job.toml"
    job.write_text(JOB, encoding="utf-8")
    done = run("solve", job, "-o", folder / "out", "--workers", "1")
    assert done.code == 0, done.err
    return folder / "out/talk/review/cut.html"


def _walk(x: float) -> str:
    frames = range(1001, 1073)
    places = [f"{x + 0.01 * (frame - 1001):.2f}" for frame in frames]
    zeros = ", ".join(["0.0"] * len(frames))
    return (
        f"{{ frame = [{', '.join(map(str, frames))}], x = [{', '.join(places)}], "
        f"y = [{zeros}], z = [{zeros}] }}"
    )


JOB = f"""
schema = "carrellata.job/1"
sequence = "talk"
rate = "24"
[world]
up = "y"
metres_per_unit = 1
[camera]
film_back = "super35-4perf"
lens_kit_mm = [35, 75]
[defaults.framing]
size = "medium"
[[actions]]
name = "talk"
frames = [1001, 1072]
cut = {{ first = "wide", longest_s = 2 }}
subjects = [
  {{ name = "ann", samples = {_walk(-1)}, at = "floor", height_m = 1.7 }},
  {{ name = "ben", samples = {_walk(1)}, at = "floor", height_m = 1.8 }},
]
cameras = [
  {{ name = "wide", on = [1, 2], size = "full", rig = {{ kind = "sticks", at = [0, 1.5, 8] }}, lens_mm = 35 }},
  {{ name = "ann", on = 1, rig = {{ kind = "sticks", at = [2, 1.5, 5] }}, lens_mm = 75 }},
  {{ name = "ben", on = 2, rig = {{ kind = "sticks", at = [-2, 1.5, 5] }}, lens_mm = 75 }},
]
"""  # noqa: E501


def test_pictures_are_played_and_all_cameras_shown_in_step(
    browser: Browser, covered: Path
) -> None:
    with opened(browser, covered) as page:
        page.wait_for_function("window.cut.drawn()")
        assert page.evaluate("cut.total") == 72
        first = page.evaluate("cut.shot()")
        assert first == "talk_wide"
        assert page.locator("#wall").is_hidden()
        page.check("#all")
        seen = "document.querySelectorAll('#wall .picture[visibility=visible]').length"
        page.wait_for_function(f"{seen} === 3")
        assert page.locator("#wall figure.on figcaption").text_content() == "wide"
        before = page.locator("#wall .picture").nth(1).inner_html()
        page.evaluate("cut.go(cut.total - 1)")
        page.wait_for_function("window.cut.drawn()")
        last = page.evaluate("cut.shot()")
        on = page.locator("#wall figure.on figcaption").text_content()
        assert last == f"talk_{on}"
        assert page.text_content("#frame") == "1072"
        assert page.locator("#wall .picture").nth(1).inner_html() != before


def test_address_names_a_frame_of_a_camera_that_is_on(
    browser: Browser, covered: Path
) -> None:
    with opened(browser, covered) as page:
        page.wait_for_function("window.cut.drawn()")
        page.evaluate("cut.go(60)")
        shot, frame = page.evaluate("cut.shot()"), page.text_content("#frame")
        page.goto(f"{covered.as_uri()}#{shot}.f{frame}")
        page.wait_for_function("window.cut.at() === 60")
