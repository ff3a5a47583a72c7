"""Two solves are seen in step, each through its own lens."""

from pathlib import Path

import numpy as np
import pytest
from browser import NARROW, opened
from playwright.sync_api import Browser
from test_pages import violations
from walks import save_job, walking_job, walking_shot

from carrellata.jobs.commands.look import compare
from carrellata.jobs.run.local import solve_job
from carrellata.jobs.takes.take_file import read_take


@pytest.mark.slow
def test_both_takes_play_in_step_through_their_own_lenses(
    browser: Browser, tmp_path: Path
) -> None:
    folders = []
    for night, side in (("monday", -300), ("tuesday", -500)):
        rig = {"kind": "sticks", "at": [170, side, 150]}
        shots = [
            walking_shot("010", rig=rig, shake="locked"),
            walking_shot("020"),
        ]
        job = save_job(tmp_path, walking_job(*shots))
        folders.append(solve_job(job, tmp_path / night, workers=1).folder)
    path = tmp_path / "compare.html"
    compare(str(folders[0]), str(folders[1]), page=path)
    with opened(browser, path) as page:
        # A shot that did not change is folded away.
        changed = page.locator("#which optgroup[label=Changed] option")
        assert changed.all_inner_texts() == ["010"]
        alike = page.locator("#which optgroup[label='Camera did not change'] option")
        assert alike.all_inner_texts() == ["020"]
        for n, folder in enumerate(folders):
            table = read_take(folder / "takes" / "010.parquet")
            cut = ~table["handle"].to_numpy()
            frames = table["frame"].to_numpy()[cut]
            script = "([n, frame]) => pair.project(n, frame)"
            for frame in frames[:: len(frames) // 5].tolist():
                row = int(np.flatnonzero(table["frame"].to_numpy() == frame)[0])
                drawn = page.evaluate(script, [n, frame])
                for name in ("u", "v"):
                    told = table[f"subject_{name}"][row].as_py()
                    # The data of both sides is in single precision.
                    assert drawn[name] == pytest.approx(told, abs=1e-4)
        page.keyboard.press("ArrowRight")
        assert page.evaluate("pair.frame()") == int(frames[0]) + 1
        page.keyboard.press("End")
        assert page.inner_text("#now") == f"shot 010, frame {frames[-1]}"
        # Both pans over the same frames, and where the playhead stands.
        pan = page.locator("#curves figure", has_text="Pan, deg").first
        ways = [pan.locator(f".{kind}").get_attribute("d") for kind in ("was", "pan")]
        assert [way.count("L") + 1 for way in ways if way] == [len(frames)] * 2
        assert ways[0] != ways[1]
        assert pan.locator(".playhead").get_attribute("d").startswith("M352.0")
        page.select_option("#laid", "over")
        one, two = (page.locator(side).bounding_box() for side in ("#before", "#after"))
        assert one == two
        page.select_option("#laid", "beside")
        assert page.locator("#before .trunk").get_attribute("d")
        assert page.locator("#before .trunk").get_attribute("d") != page.locator(
            "#after .trunk"
        ).get_attribute("d")
        assert violations(page) == []
    with opened(browser, path, size=NARROW, scheme="dark") as page:
        assert page.evaluate("document.documentElement.scrollWidth") <= NARROW[0]
        assert violations(page) == []


@pytest.mark.slow
def test_the_whole_cut_plays_on_where_all_that_changed_leaves_shots_out(
    browser: Browser, tmp_path: Path
) -> None:
    folders = []
    for night, side in (("monday", -300), ("tuesday", -500)):
        rig = {"kind": "sticks", "at": [170, side, 150]}
        shots = [
            walking_shot("010", rig=rig, shake="locked"),
            walking_shot("020"),
            walking_shot("030", rig=rig, shake="locked"),
        ]
        job = save_job(tmp_path, walking_job(*shots))
        folders.append(solve_job(job, tmp_path / night, workers=1).folder)
    path = tmp_path / "compare.html"
    compare(str(folders[0]), str(folders[1]), page=path)
    for what, wanted in (
        ("shot", ["010"]),
        ("changed", ["010", "030"]),
        ("cut", ["010", "020", "030"]),
    ):
        with opened(browser, path) as page:
            page.clock.install(time=0)
            page.reload()
            page.clock.pause_at(10_000)
            page.select_option("#what", what)
            page.locator("#play").click()
            shown = []
            while page.evaluate("pair.playing()"):
                page.clock.run_for(500)
                shown.append(page.evaluate("pair.shot()"))
            assert list(dict.fromkeys(shown)) == wanted
