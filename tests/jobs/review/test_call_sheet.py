"""The camera side of a call sheet: what is built, and the track it takes."""

import json
from pathlib import Path

import pytest
from command_line import run
from library_jobs import columns, one_shot

import carrellata

TRACK = {"kind": "track", "from": [0, 1.5, 8], "to": [2.6, 1.5, 8]}
LONG = {"kind": "track", "from": [-2, 1.5, 8], "to": [5, 1.5, 8]}
STICKS = {"kind": "sticks", "at": [1, 1.2, 7]}


@pytest.fixture(scope="module")
def takes(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("called")
    job = one_shot(columns())
    first = job["shots"][0]
    job["shots"] = [
        {**first, "name": name, "rig": rig, "lens_mm": lens}
        for name, rig, lens in (
            ("010", TRACK, 50),
            ("020", STICKS, 35),
            ("030", TRACK, 50),
            ("040", LONG, 35),
            ("050", STICKS, 35),
        )
    ]
    assert not carrellata.solve(job, out).failed
    return out


def test_shots_from_one_setup_are_called_together(takes: Path) -> None:
    (sheet,) = json.loads(run("callsheet", takes, "--json").out)
    found = [(one["rig"], one["lens_mm"], one["shots"]) for one in sheet["setups"]]
    assert found == [
        ("sticks", 35, ["020", "050"]),
        ("track", 35, ["040"]),
        ("track", 50, ["010", "030"]),
    ]


def test_the_track_at_once_is_that_of_the_largest_setup(takes: Path) -> None:
    (sheet,) = json.loads(run("callsheet", takes, "--json").out)
    laid = [
        carrellata.read_take(takes / f"first/takes/{shot}.parquet")
        for shot in ("010", "040")
    ]
    sections = [one.about["grip_sheet"]["track"]["sections"] for one in laid]
    (straight,) = sheet["track"]["straight"]
    assert straight["sections"] == max(sections) > min(sections)
    assert sheet["track"]["curved"] == []


def test_the_sheet_is_read_in_feet_too(takes: Path) -> None:
    lines = run("callsheet", takes).out.splitlines()
    assert lines[0] == "first: 3 setups"
    assert lines[2] == "  35 mm, lens 1.20 m (3 ft 11 in): main 020, 050"
    assert lines[-2].startswith("track needed at once: ")
    assert lines[-1] == "planning estimates, not clearances"
