"""A review that the service sends plays in the browser and saves decisions there."""

from pathlib import Path

import pytest
from browser import WIDE
from job_files import metre_job, write_job
from playwright.sync_api import Browser
from service_process import running, walk_shot

from carrellata.jobs.decide.notes import read_notes
from carrellata.jobs.run.local import solve_job


@pytest.mark.slow
def test_decisions_are_saved_beside_the_review_that_a_service_sends(
    browser: Browser, tmp_path: Path
) -> None:
    (tmp_path / "out" / "north").mkdir(parents=True)
    job = write_job(tmp_path, metre_job(walk_shot("010"), sequence="reviewed"))
    folder = solve_job(job, tmp_path / "out" / "north", workers=1).folder
    with running(tmp_path) as service:
        context = browser.new_context(
            viewport={"width": WIDE[0], "height": WIDE[1]},
            http_credentials={"username": "ad", "password": service.tokens["north"]},
        )
        page = context.new_page()
        said: list[str] = []
        page.on("console", lambda message: said.append(message.text))
        page.on("pageerror", lambda error: said.append(str(error)))
        base = f"{service.address}/v1/reviews/reviewed"
        page.goto(f"{base}/cut.html")
        page.wait_for_function("cut.drawn()")
        page.goto(f"{base}/010.html")
        page.get_by_label("Your name").fill("ad")
        page.get_by_label("Note").fill("hold it")
        page.goto(f"{base}/index.html")
        page.get_by_role("button", name="Save beside the review").click()
        page.get_by_text("Saved as notes.toml, 1 shot in all.").wait_for()
        assert said == []
        context.close()
    (decision,) = read_notes(folder / "review" / "notes.toml").decisions
    assert (decision.shot, decision.by, decision.note) == ("010", "ad", "hold it")
