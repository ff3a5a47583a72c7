"""The review is written from what was solved, and says so where it was not."""

import base64
import hashlib
import json
import re
from pathlib import Path

import pytest
from walks import save_job, walking_job, walking_shot

from carrellata.jobs.review.write import write_review
from carrellata.jobs.run.local import solve_job
from carrellata.worker.cli import main


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    here = tmp_path_factory.mktemp("review")
    lost = {"name": "x", "file": "no.csv", "at": "floor", "height_m": 1.7}
    job = walking_job(
        walking_shot("010", purpose="<b>Dusk</b> & dawn"),
        walking_shot("020", subjects=[lost]),
        walking_shot("index"),
    )
    return solve_job(save_job(here, job), here / "out", workers=1).folder


def page(folder: Path, name: str) -> str:
    return (folder / "review" / f"{name}.html").read_text(encoding="utf-8")


def test_every_shot_has_a_page_and_none_takes_the_place_of_the_index(
    folder: Path,
) -> None:
    names = {path.name for path in (folder / "review").iterdir()}
    pages = {"index.html", "cut.html", "010.html", "020.html", "index.shot.html"}
    assert names == {*pages, "data"}
    # A shot that failed has nothing to be played.
    data = {path.name for path in (folder / "review" / "data").iterdir()}
    assert data == {"010.js", "index.js"}
    assert 'href="index.shot.html"' in page(folder, "index")


def test_failed_shot_is_first_with_its_place_in_the_job(folder: Path) -> None:
    index = page(folder, "index")
    first = re.search(r'<li class="failed">.*?</li>', index, re.DOTALL)
    assert first is not None
    assert 'href="020.html"' in first[0]
    assert "shots[1].subjects[0].file" in first[0]
    assert "shots[1].subjects[0].file" in page(folder, "020")


def test_words_of_the_job_are_escaped(folder: Path) -> None:
    text = page(folder, "010")
    assert "&lt;b&gt;Dusk&lt;/b&gt; &amp; dawn" in text
    assert "<b>Dusk" not in text


def test_policy_allows_the_own_style_and_script_and_nothing_else(folder: Path) -> None:
    text = page(folder, "010")
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', text)
    assert policy is not None
    assert policy[1].startswith("default-src 'none'")
    style = re.findall(r"<style>(.*?)</style>", text, re.DOTALL)
    script = re.findall(r"<script>(.*?)</script>", text, re.DOTALL)
    assert len(style) == len(script) == 1
    for kind, body in (("style", style[0]), ("script", script[0])):
        digest = base64.b64encode(hashlib.sha256(body.encode()).digest()).decode()
        assert f"{kind}-src 'sha256-{digest}'" in policy[1]
    assert "style=" not in text
    assert not re.search(r'(src|href)="(?!data:)[a-z]+:', text)


def test_same_solve_gives_the_same_pages(folder: Path) -> None:
    before = {path: path.read_bytes() for path in (folder / "review").rglob("*.*")}
    stamps = {path: path.stat().st_mtime_ns for path in before}
    write_review(folder)
    assert {path: path.read_bytes() for path in before} == before
    assert {path: path.stat().st_mtime_ns for path in before} == stamps


def test_pages_of_shots_that_are_gone_go_too(tmp_path: Path) -> None:
    for names in (("010", "020"), ("020",)):
        job = save_job(tmp_path, walking_job(*map(walking_shot, names)))
        folder = solve_job(job, tmp_path / "out", workers=1).folder
    names_left = {path.name for path in (folder / "review").rglob("*.*")}
    assert names_left == {"index.html", "cut.html", "020.html", "020.js"}


def test_progress_is_told_page_by_page(folder: Path) -> None:
    told: list[tuple[object, int]] = []
    write_review(folder, progress=lambda k, total: told.append((k, total)))
    assert told == [(1, 4), (2, 4), (3, 4), (4, 4)]


def test_command_writes_the_pages_again(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "review" / "010.html").unlink()
    assert main(["review", str(folder.parent)]) == 0
    assert str(folder / "review" / "index.html") in capsys.readouterr().out
    assert page(folder, "010")


def test_folder_without_a_solve_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["review", str(tmp_path)]) == 2
    assert "holds no solved sequence" in capsys.readouterr().err


def test_solve_ends_with_where_the_review_is(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job = save_job(tmp_path, walking_job(walking_shot("010")))
    assert main(["solve", str(job), "-o", str(tmp_path / "out")]) == 0
    last = capsys.readouterr().out.splitlines()[-1]
    (index,) = (tmp_path / "out").rglob("index.html")
    assert last == f"review: {index}"
    assert main(["solve", str(job), "-o", str(tmp_path / "out"), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["review"] == str(index)


def test_pages_are_told_apart_from_shots_as_they_are_done(tmp_path: Path) -> None:
    job = save_job(tmp_path, walking_job(walking_shot("010"), walking_shot("020")))
    told: list[tuple[object, int]] = []
    solve_job(
        job,
        tmp_path / "out",
        workers=1,
        reporting=lambda done, total: told.append((done, total)),
    )
    assert told == [(1, 3), (2, 3), (3, 3)]


def test_a_failed_shot_says_what_to_change(folder: Path) -> None:
    for name in ("index", "020"):
        text = page(folder, name)
        assert "Change shots[1].subjects[0].file in the job" in text


def test_every_sheet_of_the_grip_says_that_it_is_an_estimate(folder: Path) -> None:
    for name in ("index", "010"):
        sheet = page(folder, name).split("Grip&rsquo;s sheet", 1)[1]
        assert "Planning estimates, not clearances." in sheet.split("<footer>")[0]
    assert "planning estimates, not clearances" in page(folder, "020")


def test_data_of_a_shot_is_what_its_own_page_plays(folder: Path) -> None:
    script = (folder / "review" / "data" / "010.js").read_text(encoding="utf-8")
    found = re.fullmatch(r'carrellataTake\("010",(\{.*\})\);\n', script)
    assert found is not None
    assert f'id="viewfinder-data">{found[1]}</script>' in page(folder, "010")


@pytest.mark.parametrize("left", [0, 100])
def test_data_that_was_lost_or_cut_short_is_written_again(
    folder: Path, left: int
) -> None:
    path = folder / "review" / "data" / "010.js"
    whole = path.read_bytes()
    path.write_bytes(whole[:left])
    write_review(folder)
    assert path.read_bytes() == whole


def test_cut_page_may_run_what_lies_beside_it_and_other_pages_may_not(
    folder: Path,
) -> None:
    for name, more in (("cut", True), ("index", False), ("010", False)):
        policy = re.search(r"script-src ([^;]*);", page(folder, name))
        assert policy is not None
        assert ("'self'" in policy[1].split()) == more


def test_index_says_what_was_solved(folder: Path) -> None:
    assert "1 failed, 2 solved." in page(folder, "index")
