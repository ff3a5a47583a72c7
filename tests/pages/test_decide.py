"""What is decided on the pages ends in the job, and is there when they open again."""

import shutil
import tomllib
from pathlib import Path

import pytest
from browser import opened
from playwright.sync_api import Browser

from carrellata.jobs.examples.ferry_dash.make import FOLDER
from carrellata.jobs.job.load import load_job
from carrellata.jobs.takes.sequence_table import read_sequence
from carrellata.worker.cli import main


@pytest.mark.slow
def test_decisions_of_the_pages_end_in_the_job(
    browser: Browser, solved: Path, tmp_path: Path
) -> None:
    review = solved / "review"
    keys = {
        row.shot: row.take_key for row in read_sequence(solved / "sequence.parquet")
    }
    reason = 'the "slow" push \u2013 it is meant\\so'
    with opened(browser, review / "010.html") as page:
        page.get_by_label("Your name").fill("ad")
        page.get_by_label("lock this take").check()
        page.get_by_label("approve").check()
        page.goto((review / "050.html").as_uri())
        assert page.get_by_label("Your name").input_value() == "ad"
        page.get_by_label("Ask for size").select_option("chest")
        page.locator("[data-field=lens]").fill("75")
        page.get_by_label("Note").fill("closer,\nmuch closer")
        page.locator("[data-finding=size_not_kept]").fill(reason)
        # Keys that play the shot do not, while somebody writes.
        page.get_by_label("Note").press("End")
        assert page.evaluate("viewfinder.frame()") == 1349
        page.reload()
        assert page.get_by_label("Note").input_value() == "closer,\nmuch closer"
        page.goto((review / "index.html").as_uri())
        assert "2 shots decided" in page.inner_text("#count")
        text = page.locator("#gathered").input_value()
        with page.expect_download() as saved:
            page.get_by_role("button", name="Save as notes.toml").click()
        notes = tmp_path / "notes.toml"
        saved.value.save_as(notes)
        assert notes.read_text(encoding="utf-8") == text
        page.get_by_role("button", name="Clear").click()
        assert not page.locator("#gathered").is_visible()
        page.goto((review / "050.html").as_uri())
        assert page.get_by_label("Note").input_value() == ""
    assert tomllib.loads(text)["decisions"][0]["take_key"] == keys["010"]
    job = tmp_path / "job.toml"
    shutil.copy(FOLDER / "job.toml", job)
    assert main(["decide", str(job), str(notes)]) == 0
    shots = {shot.name: shot for shot in load_job(job).shots}
    assert shots["010"].lock == keys["010"]
    assert f"# approved by ad: take {keys['010']}\n" in job.read_text(encoding="utf-8")
    assert shots["050"].framing.size == "chest"
    assert shots["050"].lens_mm == 75
    assert "# note by ad: closer,\n# much closer\n" in job.read_text(encoding="utf-8")
    assert [(one.finding, one.reason, one.by) for one in shots["050"].accept] == [
        ("size_not_kept", reason, "ad")
    ]


@pytest.mark.slow
def test_what_was_decided_of_another_take_is_asked_again(
    browser: Browser, solved: Path
) -> None:
    with opened(browser, solved / "review" / "020.html") as page:
        page.get_by_label("approve").check()
        page.evaluate(
            "(() => { const key = 'carrellata/notes/ferry_dash/020';"
            "const note = JSON.parse(localStorage[key]); note.take = 'f'.repeat(64);"
            "localStorage[key] = JSON.stringify(note); })()"
        )
        page.reload()
        assert not page.get_by_label("approve").is_checked()
        assert page.get_by_text("You decided of an earlier take").is_visible()
