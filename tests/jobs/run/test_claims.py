"""Claims from the job file to the row, the findings, the page and `--explain`."""

import json
from pathlib import Path
from typing import Any

import pyarrow.parquet as pq
from walks import FIRST, LAST, files_below, save_job, walk, walking_job, walking_shot

from carrellata.jobs.review.explain import explain_lines
from carrellata.jobs.run.local import solve_job
from carrellata.jobs.takes.metadata import take_metadata
from carrellata.jobs.takes.sequence_table import ShotRow, read_sequence
from carrellata.jobs.takes.store import Store
from carrellata.jobs.takes.take_file import read_take

WALKER = {"name": "runner", "samples": walk(), "at": "floor", "height_m": 1.7}
AWAY = walk()
AWAY["x"] = [x - 3000.0 for x in AWAY["x"]]
GUARD = {"name": "guard", "samples": AWAY, "at": "floor", "height_m": 1.8}
MET, MISSED = {"crosses": "runner", "degrees": 60}, {"together": ["runner", "guard"]}
PRICED = {"closes_in": "runner", "must": False}


def claiming(*claims: Any, **fields: Any) -> dict[str, Any]:
    people = [WALKER, GUARD | {"present": True}]
    shot = walking_shot("010", subjects=people, claims=list(claims), **fields)
    return walking_job(shot)


def solved(folder: Path, job: dict[str, Any]) -> ShotRow:
    path = save_job(folder, job)
    (row,) = solve_job(path, folder, workers=1).rows
    return row


def test_what_came_of_claims_stands_in_row_take_and_findings(tmp_path: Path) -> None:
    row = solved(tmp_path, claiming(MET, MISSED, PRICED))
    crossing, together, closing = json.loads(row.claims)
    assert crossing["held"]
    assert not together["held"]
    assert together["number"] == 0.0
    assert together["missed"] == [[FIRST, LAST]]
    assert not closing["held"]
    found = {
        (one["name"], one["severity"]): one["text"]
        for one in json.loads(row.findings)
        if one["name"] == "intent_missed"
    }
    assert set(found) == {("intent_missed", "fault"), ("intent_missed", "warning")}
    words = found["intent_missed", "fault"]
    assert '"together runner and guard"' in words
    assert f"missed in {FIRST}-{LAST}" in words
    take = read_take(Store(folder=tmp_path / "chase").take("010"))
    assert list(take_metadata(take).claims) == json.loads(row.claims)


def test_a_kept_take_keeps_what_came_of_its_claims(tmp_path: Path) -> None:
    first = solved(tmp_path, claiming(MET, MISSED))
    again = solved(tmp_path, claiming(MET, MISSED, purpose="words"))
    assert again.status == "kept"
    assert again.claims == first.claims
    other = solved(tmp_path, claiming(MET))
    assert other.status == "solved"
    assert len(json.loads(other.claims)) == 1


def test_an_intent_that_changes_nothing_of_a_shot_keeps_its_take(
    tmp_path: Path,
) -> None:
    first = solved(tmp_path, claiming(MET))
    job = claiming(intent="wide")
    del job["shots"][0]["claims"]
    job["intents"] = {"wide": {"claims": [MET], "lens_mm": 100}}
    assert solved(tmp_path, job).take_key == first.take_key


def test_claims_change_no_curve(tmp_path: Path) -> None:
    for name, claims in (("with", [MET, MISSED]), ("without", [])):
        solved(tmp_path / name, claiming(*claims))
    one, two = (
        pq.read_table(tmp_path / name / "chase/takes/010.parquet")
        for name in ("with", "without")
    )
    assert one.equals(two)


def test_a_locked_take_is_held_against_tonights_claims(tmp_path: Path) -> None:
    row = solved(tmp_path, claiming(MET))
    locked = solved(tmp_path, claiming(MISSED, lock=row.take_key))
    assert locked.status == "locked"
    (outcome,) = json.loads(locked.claims)
    assert (outcome["verb"], outcome["held"]) == ("together", False)
    assert locked.take_key == row.take_key


def test_explain_and_the_page_have_a_line_a_claim(tmp_path: Path) -> None:
    row = solved(tmp_path, claiming(MET, MISSED))
    store = Store(folder=tmp_path / "chase")
    lines = [line.strip() for line in explain_lines(row, store)]
    at = lines.index("What it must tell")
    assert lines[at + 1] == (
        "met: crosses runner degrees 60: runner travels across in 100 % of the frames, "
        "90 % asked"
    )
    assert lines[at + 2].startswith("missed: together runner and guard: ")
    page = files_below(tmp_path / "chase/review")["010.html"].decode()
    assert "runner travels across in 100 % of the frames" in page
    assert f"missed in {FIRST}-{LAST}" in page


def test_a_table_of_before_claims_is_still_read(tmp_path: Path) -> None:
    solved(tmp_path, claiming(MET))
    path = tmp_path / "chase/sequence.parquet"
    pq.write_table(pq.read_table(path).drop_columns(["claims"]), path)
    (row,) = read_sequence(path)
    assert row.claims == "[]"
