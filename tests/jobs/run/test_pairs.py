"""Two people face to face: two-shot, singles and overs, with every camera open."""

import json
import math
from typing import Any

import pytest
from walks import FIRST, LAST, save_job, walking_job

from carrellata.jobs.run.local import solve_job
from carrellata.jobs.takes.sequence_table import read_sequence

KIT = {
    "film_back": "super35-4perf",
    "aspect": 2.39,
    "lens_kit_mm": [18, 25, 35, 50, 75, 100],
}


def standing(name: str, x: float, facing_deg: float, share: float) -> dict[str, Any]:
    frames = list(range(FIRST - 30, LAST + 31))
    return {
        "name": name,
        "samples": {
            "frame": frames,
            "x": [x + 2 * math.sin(0.05 * f) for f in frames],
            "y": [0.0] * len(frames),
            "z": [0.0] * len(frames),
            "facing_deg": [facing_deg] * len(frames),
        },
        "at": "floor",
        "height_m": 1.75,
        "share": share,
    }


def of_both(name: str, ann: float, ben: float, **framing: Any) -> dict[str, Any]:
    """Return an open shot of two people 1.6 m apart who face each other along X."""
    return {
        "name": name,
        "frames": [FIRST, LAST],
        "handles": 4,
        "subjects": [standing("ann", 0, -90, ann), standing("ben", 160, 90, ben)],
        "rig": {"kind": "choose"},
        "lens_mm": "choose",
        "framing": framing,
    }


@pytest.fixture(scope="module")
def rows(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    folder = tmp_path_factory.mktemp("pair")
    job = walking_job(
        of_both("010", 0.5, 0.5, fill=0.6),
        of_both("020", 1.0, 0.0, size="close"),
        of_both("030", 0.0, 1.0, size="close"),
        of_both("040", 1.0, 0.3, size="medium"),
        of_both("050", 0.3, 1.0, size="medium"),
        camera=KIT,
    )
    outcome = solve_job(save_job(folder, job), folder / "out", workers=1)
    assert not outcome.failed
    table = read_sequence(outcome.folder / "sequence.parquet")
    return {row.shot: row for row in table}


def place(row: Any) -> list[float]:
    rig = json.loads(row.setup)["rig"]
    assert rig["kind"] == "sticks"
    at: list[float] = rig["at"]
    return at


def test_all_cameras_keep_to_one_side_of_the_line(rows: dict[str, Any]) -> None:
    sides = {math.copysign(1, place(row)[1]) for row in rows.values()}
    assert len(sides) == 1
    names = {f["name"] for row in rows.values() for f in json.loads(row.findings)}
    assert not names & {"crosses_line", "screen_direction", "under_30_degrees"}


def test_reverses_answer_each_other_in_lens_and_height(rows: dict[str, Any]) -> None:
    for one, other in (("020", "030"), ("040", "050")):
        lens = {json.loads(rows[name].setup)["lens_mm"] for name in (one, other)}
        assert len(lens) == 1
        assert place(rows[one])[2] == place(rows[other])[2]
        assert "matched_reverse" in json.loads(rows[other].why)["cut"]


def test_singles_look_at_the_face_and_overs_past_the_other_shoulder(
    rows: dict[str, Any],
) -> None:
    # Ann looks along +X: cameras on her stand on that side of her, Ben's on his.
    assert place(rows["020"])[0] > -10
    assert place(rows["030"])[0] < 170
    over_ann, over_ben = place(rows["040"]), place(rows["050"])
    assert over_ann[0] > 160
    assert over_ben[0] < 0
    for row in (rows["040"], rows["050"]):
        assert "blocked" not in json.loads(row.why)["parts"]
        assert row.measures["in_frame"] == 1.0


def test_the_two_shot_holds_both(rows: dict[str, Any]) -> None:
    why = json.loads(rows["010"].why)
    assert why["numbers"]["in_frame"] == 1.0
    assert rows["010"].status == "solved"
