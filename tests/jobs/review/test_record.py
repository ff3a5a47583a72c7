"""A page tells what it was made from, and is made anew only when that changes."""

import json
import shutil
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from review_rows import finding, row
from walks import save_job, walking_job, walking_shot

from carrellata.jobs.review.record import kept_of, page_key, recorded
from carrellata.jobs.review.shot_page import End, IndexedTake
from carrellata.jobs.review.write import (
    PageTask,
    WrittenPage,
    write_page,
    write_review,
    write_with,
)
from carrellata.jobs.run.local import solve_job

END = End(subject="a", u=0.25, v=-0.5, size=0.4, travel_m_s=1.5)
KEPT = IndexedTake(
    size="full",
    aspect=2.39,
    rate="24000/1001",
    script_bytes=100,
    frames=(1001, 1024),
    poster='{"name": "<!-- -->"}',
    moments=(1001, 1012),
    ends=(END, replace(END, u=1.0)),
    sheet=["one -- two -->", "three"],
)
PAGE = "<!doctype html>\n<html><p>caf\u00e9</p></html>\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    shots = [walking_shot(name) for name in ("010", "020", "030")]
    job = save_job(tmp_path, walking_job(*shots))
    return solve_job(job, tmp_path / "out", workers=1).folder


def rewritten(folder: Path) -> list[str]:
    """Shots whose pages are made when the review is written once more."""
    names: list[str] = []

    def write(tasks: Sequence[PageTask]) -> Iterator[WrittenPage]:
        names.extend(task.row.shot for task in tasks)
        return (write_page(None, task) for task in tasks)

    write_review(folder, write=write)
    return names


def change_row(folder: Path, shot: str, **fields: Any) -> None:
    path = folder / "sequence.parquet"
    table = pq.read_table(path)
    rows = [one | (fields if one["shot"] == shot else {}) for one in table.to_pylist()]
    changed = pa.Table.from_pylist(rows, schema=table.schema)
    pq.write_table(changed, path, write_page_checksum=True)


def test_a_record_gives_back_what_the_index_keeps(tmp_path: Path) -> None:
    path = tmp_path / "page.html"
    path.write_bytes(recorded(PAGE, "a" * 64, KEPT))
    assert kept_of(path, lambda: "a" * 64) == KEPT
    assert kept_of(path, lambda: "b" * 64) is None
    first, second, rest = path.read_text(encoding="utf-8").split("\n", 2)
    assert f"{first}\n{rest}" == PAGE
    # The comment ends where the line does, whatever the texts in it say.
    assert second.startswith("<!--")
    assert second.index("-->") == len(second) - 3
    assert "--" not in second[4:-3]


@pytest.mark.parametrize(
    "damage", [lambda b: b[:-1], lambda b: b + b" ", lambda b: b""]
)
def test_a_page_that_was_cut_short_is_none(tmp_path: Path, damage: Any) -> None:
    path = tmp_path / "page.html"
    path.write_bytes(damage(recorded(PAGE, "a" * 64, KEPT)))
    assert kept_of(path, lambda: "a" * 64) is None
    path.unlink()
    assert kept_of(path, lambda: "a" * 64) is None


def test_a_key_is_of_all_that_a_page_shows() -> None:
    plain: dict[str, Any] = {
        "take_bytes": 10,
        "before": None,
        "after": "b",
        "changes": (),
        "people": ("a",),
    }
    key = page_key(row("a"), **plain)
    others = [
        page_key(row("a"), **plain | {"take_bytes": 11}),
        page_key(row("a"), **plain | {"before": "0"}),
        page_key(row("a"), **plain | {"after": None}),
        page_key(row("a"), **plain | {"changes": ("is new",)}),
        page_key(row("a"), **plain | {"people": ("b", "a")}),
        page_key(row("a", finding("eye_jump")), **plain),
        page_key(row("a", take_key="2" * 64), **plain),
        page_key(row("a", measures={"drift_max": 0.3}), **plain),
        page_key(row("a", status="locked"), **plain),
    ]
    assert len({key, *others}) == 1 + len(others)
    assert page_key(row("a", status="kept"), **plain) == key


def test_unchanged_pages_are_not_made_again(folder: Path) -> None:
    assert rewritten(folder) == []
    change_row(folder, "020", findings=json.dumps([finding("soft_focus")]))
    assert rewritten(folder) == ["020"]
    assert "soft focus" in (folder / "review" / "020.html").read_text(encoding="utf-8")
    (folder / "review" / "030.html").unlink()
    page = folder / "review" / "010.html"
    page.write_bytes(page.read_bytes()[:-100])
    assert rewritten(folder) == ["010", "030"]
    assert rewritten(folder) == []


def test_index_is_the_same_whether_pages_were_made_or_left(folder: Path) -> None:
    index = folder / "review" / "index.html"
    left = index.read_bytes()
    write_review(folder)
    assert index.read_bytes() == left
    shutil.rmtree(folder / "review")
    write_review(folder)
    assert index.read_bytes() == left
    assert b"Grip" in left


def test_a_second_night_of_kept_takes_makes_no_page(tmp_path: Path) -> None:
    job = save_job(tmp_path, walking_job(walking_shot("010")))
    folder = solve_job(job, tmp_path / "out", workers=1).folder
    page = folder / "review" / "010.html"
    stamp = page.stat().st_mtime_ns
    outcome = solve_job(job, tmp_path / "out", workers=1)
    assert outcome.rows[0].status == "kept"
    assert page.stat().st_mtime_ns == stamp


@pytest.mark.slow
def test_pages_have_the_same_bytes_whatever_the_number_of_workers(folder: Path) -> None:
    pages = folder / "review"
    alone = {path.name: path.read_bytes() for path in pages.rglob("*.*")}
    shutil.rmtree(pages)
    told: list[int] = []
    write_review(folder, write=write_with(2), progress=lambda _, n: told.append(n))
    assert {path.name: path.read_bytes() for path in pages.rglob("*.*")} == alone
    assert told == [4, 4, 4, 4]
