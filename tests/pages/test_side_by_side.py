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
        # A shot that did not change is not among them.
        assert page.locator("#which option").all_inner_texts() == ["010"]
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
        assert page.inner_text("#now") == f"frame {frames[-1]}"
        assert page.locator("#before .trunk").get_attribute("d")
        assert page.locator("#before .trunk").get_attribute("d") != page.locator(
            "#after .trunk"
        ).get_attribute("d")
        assert violations(page) == []
    with opened(browser, path, size=NARROW, scheme="dark") as page:
        assert page.evaluate("document.documentElement.scrollWidth") <= NARROW[0]
        assert violations(page) == []
