"""The example with every camera left open tells what its purposes claim."""

import json
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from carrellata.jobs.examples.ferry_dash.make import FOLDER
from carrellata.jobs.examples.ferry_dash.pictures import pictures_of
from carrellata.jobs.run.local import Outcome, solve_job
from carrellata.jobs.takes.sequence_table import ShotRow
from carrellata.solver.setups.setup import VIEWS_RAD, view_family

SHOTS = 12


PICTURES = Path(__file__).resolve().parents[2] / "deploy" / "pictures"


@pytest.fixture(scope="module")
def outcome(tmp_path_factory: pytest.TempPathFactory) -> Outcome:
    out = tmp_path_factory.mktemp("open")
    return solve_job(FOLDER / "choose.toml", out, workers=1)


@pytest.fixture(scope="module")
def rows(outcome: Outcome) -> tuple[ShotRow, ...]:
    return outcome.rows


def test_every_purpose_is_claimed_and_every_must_is_told(
    rows: tuple[ShotRow, ...],
) -> None:
    claims = {row.shot: json.loads(row.claims) for row in rows}
    assert len(claims) == SHOTS
    for shot, outcomes in claims.items():
        musts = [one for one in outcomes if one["must"]]
        assert musts, shot
        assert all(one["held"] for one in musts), shot


def test_no_shot_and_no_cut_has_a_fault(rows: tuple[ShotRow, ...]) -> None:
    faults = [
        (row.shot, one["name"])
        for row in rows
        for one in json.loads(row.findings)
        if one["severity"] == "fault"
    ]
    assert faults == []


def test_no_crossing_of_the_two_goes_unreported(rows: tuple[ShotRow, ...]) -> None:
    ends = {row.shot: json.loads(row.ends or "null") for row in rows}
    n_pairs = 0
    for before, row in pairwise(rows):
        last, first = ends[before.shot]["last"], ends[row.shot]["first"]
        if before.scene != row.scene or len(last["others"]) + len(first["others"]) < 2:
            continue
        sides = []
        for end in (last, first):
            people = {name: (x, z) for name, x, _, z, _, _ in end["others"]}
            people[end["subject"]] = end["place"][0], end["place"][2]
            one, two = np.array(people["courier"]), np.array(people["guard"])
            lens = np.array([end["lens"][0], end["lens"][2]])
            sides.append(np.linalg.det(np.array([two - one, lens - one])) > 0)
        names = [
            one["name"]
            for one in json.loads(row.findings)
            if one["numbers"].get("subject") == "courier|guard" and one["of"] == "cut"
        ]
        assert bool(names) == (sides[0] != sides[1]), row.shot
        n_pairs += 1
    assert n_pairs >= 7


def test_cameras_look_from_several_sides_and_some_move(
    rows: tuple[ShotRow, ...],
) -> None:
    setups = [json.loads(row.setup) for row in rows]
    families = {
        view if view in VIEWS_RAD else view_family(np.radians(view))
        for view in (setup["view"] for setup in setups)
    }
    assert len(families) >= 3
    moves = [row for row in rows if (row.measures["dolly_m"] or 0.0) > 0.5]
    assert len(moves) >= 3


def test_every_cut_brings_something(rows: tuple[ShotRow, ...]) -> None:
    assert rows[0].brings == "[]"
    assert all(json.loads(row.brings) for row in rows[1:])


def test_the_picture_of_the_readme_is_of_this_solve(outcome: Outcome) -> None:
    drawn = dict(pictures_of("choose.toml", outcome.folder))
    kept = (PICTURES / "setups.svg").read_bytes()
    assert len(kept) < 60_000
    assert drawn["setups"].encode() == kept, "setups.svg: see DEVELOPERS.md"
