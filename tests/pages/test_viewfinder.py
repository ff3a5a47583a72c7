"""The viewfinder shows what the take says, at the rate that the job says."""

from pathlib import Path

import numpy as np
import pytest
from browser import opened
from playwright.sync_api import Browser, Page

from carrellata.jobs.takes.take_file import read_take


def take_of(solved: Path, shot: str) -> dict[str, np.ndarray]:
    table = read_take(solved / "takes" / f"{shot}.parquet")
    rows = (table["sub"].to_numpy() == 0) & ~table["handle"].to_numpy()
    numeric = [name for name in table.column_names if name not in TEXTS]
    return {name: table[name].to_numpy()[rows] for name in numeric}


TEXTS = ("sequence", "shot", "subject", "hidden_by")


@pytest.mark.slow
def test_projection_in_the_page_is_the_takes(browser: Browser, solved: Path) -> None:
    for path in sorted((solved / "takes").glob("*.parquet")):
        take = take_of(solved, path.stem)
        seen = np.flatnonzero(np.isfinite(take["subject_u"]))
        rows = seen[np.linspace(0, len(seen) - 1, 20).astype(int)]
        frames = take["frame"][rows].tolist()
        with opened(browser, solved / "review" / f"{path.stem}.html") as page:
            script = "(frames) => frames.map((f) => window.viewfinder.project(f))"
            shown = page.evaluate(script, frames)
        for name in ("u", "v"):
            drawn = np.array([one[name] for one in shown])
            np.testing.assert_allclose(drawn, take[f"subject_{name}"][rows], atol=1e-6)


def final_places(take: dict[str, np.ndarray], rows: np.ndarray, tangent: float):
    """Where the followed point is across and up the final frame, u times its width."""
    point = np.array([take[f"subject_{name}"][rows] for name in "xyz"])
    away = point - np.array([take[f"cam_{name}"][rows] for name in "xyz"])
    x, y, z, w = (take[f"q{name}"][rows] for name in "xyzw")
    right = [1 - 2 * (y * y + z * z), 2 * (x * y + w * z), 2 * (x * z - w * y)]
    back = [2 * (x * z + w * y), 2 * (y * z - w * x), 1 - 2 * (x * x + y * y)]
    depth = -(away * back).sum(axis=0)
    return (away * right).sum(axis=0) / depth / tangent


@pytest.mark.slow
def test_the_shaken_picture_is_the_final_pose_on_every_shot(
    browser: Browser, solved: Path
) -> None:
    shaken_shots = 0
    for path in sorted((solved / "takes").glob("*.parquet")):
        take = take_of(solved, path.stem)
        seen = np.flatnonzero(np.isfinite(take["subject_u"]))
        with opened(browser, solved / "review" / f"{path.stem}.html") as page:
            script = "(frames) => frames.map((f) => viewfinder.project(f, true))"
            shown = page.evaluate(script, take["frame"][seen].tolist())
            tangent = page.evaluate(
                "JSON.parse(document.getElementById('viewfinder-data').textContent).tan_u"
            )
        drawn = np.array([one["u"] for one in shown])
        wanted = final_places(take, seen, tangent)
        np.testing.assert_allclose(drawn, wanted, atol=1e-6)
        shaken_shots += np.abs(drawn - take["subject_u"][seen]).max() > 1e-4
    assert shaken_shots > 6


@pytest.mark.slow
def test_shake_shows_the_final_pose(browser: Browser, solved: Path) -> None:
    take = take_of(solved, "060")
    k = int(np.argmax(np.abs(take["shake_pan_deg"])))
    point = np.array([take[f"subject_{name}"][k] for name in "xyz"])
    lens = np.array([take[f"cam_{name}"][k] for name in "xyz"])
    x, y, z, w = (take[f"q{name}"][k] for name in "xyzw")
    right = np.array(
        [1 - 2 * (y * y + z * z), 2 * (x * y + w * z), 2 * (x * z - w * y)]
    )
    back = np.array([2 * (x * z + w * y), 2 * (y * z - w * x), 1 - 2 * (x * x + y * y)])
    frame = int(take["frame"][k])
    with opened(browser, solved / "review" / "060.html") as page:
        script = "(f) => [viewfinder.project(f, true), viewfinder.project(f)]"
        shaken, still = page.evaluate(script, frame)
        tangent = page.evaluate(
            "JSON.parse(document.getElementById('viewfinder-data').textContent).tan_u"
        )
        figure = (
            "document.querySelector('#viewfinder .followed path').getAttribute('d')"
        )
        page.evaluate("(f) => viewfinder.show(f)", frame)
        before = page.evaluate(figure)
        page.locator("#shake").uncheck()
        after = page.evaluate(figure)
    away = point - lens
    assert shaken["u"] == pytest.approx(away @ right / -(away @ back) / tangent)
    assert abs(shaken["u"] - still["u"]) > 1e-4
    assert before != after


def clicked_through(page: Page, milliseconds: int, step: int) -> list[int]:
    """Frames shown while the page's own clock runs on in steps."""
    shown = []
    for _ in range(milliseconds // step):
        page.clock.run_for(step)
        shown.append(page.evaluate("viewfinder.frame()"))
    return shown


@pytest.mark.slow
def test_play_follows_the_clock_and_leaves_out_frames_that_are_late(
    browser: Browser, solved: Path
) -> None:
    first = int(take_of(solved, "050")["frame"][0])
    for step in (40, 250):
        with opened(browser, solved / "review" / "050.html") as page:
            page.clock.install(time=0)
            page.reload()
            page.clock.pause_at(10_000)
            page.locator("#play").click()
            shown = np.array(clicked_through(page, 3000, step)) - first
            late = np.arange(step, 3001, step) / 1000 * 24000 / 1001 - shown
            # A frame stands until the next is due, and both ends wait for the screen.
            assert (late >= 0).all()
            assert late.max() <= 2
            assert abs(late[-3:].mean() - late[:3].mean()) <= 1
            assert page.evaluate("viewfinder.playing()")
            page.clock.run_for(3000)
            assert not page.evaluate("viewfinder.playing()")
            assert page.inner_text("#play") == "Play"


@pytest.mark.slow
def test_figures_stand_at_their_true_size(browser: Browser, solved: Path) -> None:
    take = take_of(solved, "010")
    row = len(take["frame"]) // 2
    with opened(browser, solved / "review" / "010.html") as page:
        page.evaluate("(f) => viewfinder.show(f)", int(take["frame"][row]))
        box = page.locator("#viewfinder .followed").evaluate(
            "(e) => { const b = e.getBBox(); return [b.height, "
            "e.ownerSVGElement.viewBox.baseVal.height]; }"
        )
    # A full figure: floor to crown is the named span of the take.
    assert box[0] / box[1] == pytest.approx(take["subject_size"][row], rel=0.02)
