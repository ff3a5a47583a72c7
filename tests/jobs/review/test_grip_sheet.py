"""The grip's sheet of a written take: metres, feet, words, in scene axes."""

import json
from pathlib import Path
from typing import Any

import pytest
from walks import save_job, walking_job, walking_shot

from carrellata.jobs.review.grip_sheet import grip_sheet_of, sheet_words
from carrellata.jobs.run.local import solve_job
from carrellata.jobs.takes.metadata import take_metadata
from carrellata.jobs.takes.take_file import read_take

STICKS = {"kind": "sticks", "at": [200, -300, 150]}
SLOPE = {"kind": "track", "from": [0, 0, 100], "to": [400, 0, 400]}
ARC = {
    "kind": "arc",
    "centre": [200, 0, 150],
    "radius": 300,
    "start_deg": 150,
    "sweep_deg": 120,
}


def sheet_of(folder: Path, **fields: Any) -> dict[str, Any]:
    """Return the sheet of the one take of a job on disk."""
    outcome = solve_job(
        save_job(folder, walking_job(walking_shot("010", **fields))),
        folder / "out",
        workers=1,
    )
    assert [row.error for row in outcome.rows] == [None]
    return grip_sheet_of(read_take(outcome.folder / "takes" / "010.parquet"))


def every_length(value: Any) -> list[tuple[Any, Any]]:
    """Return the pairs of metres and feet of a sheet."""
    if isinstance(value, list):
        return [pair for item in value for pair in every_length(item)]
    if not isinstance(value, dict):
        return []
    pairs = [
        (value[name], value[f"{name[:-2]}_ft"]) for name in value if name.endswith("_m")
    ]
    return pairs + [pair for item in value.values() for pair in every_length(item)]


def test_a_sheet_says_metres_feet_and_words_and_is_plain(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path)
    assert json.loads(json.dumps(sheet)) == sheet
    assert sheet["notice"] == "planning estimates, not clearances"
    assert sheet["words"][0] == "Planning estimates, not clearances."
    assert sheet["rig"] == "track"
    assert sheet["track"]["setup_m"] == 5.0
    assert sheet["track"]["laid_m"] > 0
    pairs = every_length(sheet)
    assert len(pairs) > 20
    for metres, feet in pairs:
        for m, ft in zip(
            *(side if isinstance(side, list) else [side] for side in (metres, feet)),
            strict=True,
        ):
            if not isinstance(m, list):
                assert ft == pytest.approx(m / 0.3048, abs=0.006)
    assert any("Mark 1, frame 1001, cut in" in line for line in sheet["words"])


def test_the_ends_of_the_track_are_in_scene_axes_to_the_centimetre(
    tmp_path: Path,
) -> None:
    sheet = sheet_of(tmp_path, rig=SLOPE)
    near, far = sheet["ends_m"]
    track = sheet["track"]
    # The slope of 3 in 4 from (0, 0, 1) m, Z up.
    for end, s in ((near, track["from_m"]), (far, track["from_m"] + track["laid_m"])):
        assert end == pytest.approx([0.8 * s, 0.0, 1.0 + 0.6 * s], abs=0.006)
        assert all(round(x, 2) == x for x in end)
    assert track["rise_m"] == pytest.approx(0.6 * track["laid_m"], abs=0.01)
    assert any("a slope of 75 %" in line for line in sheet["words"])


def test_heights_are_over_the_ground_of_the_stage(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path, rig=STICKS, stage={"ground": -50})
    assert sheet["height_m"] == [2.0, 2.0]
    assert "Lens 2.00 m (6 ft 7 in) over the ground." in sheet["words"]
    assert sheet["track"] is None
    assert "Sticks, no track." in sheet["words"]
    assert not any("near end" in line for line in sheet["words"])
    assert sheet["space_m"] == [2.0, 2.0]
    assert sheet["space_ft"] == [6.56, 6.56]


def test_sections_are_those_of_the_stage(tmp_path: Path) -> None:
    short = sheet_of(tmp_path, stage={"straight_m": 0.5})["track"]
    assert short["section_m"] == 0.5
    assert short["sections"] == -(-round(short["laid_m"] * 100) // 50) > 1


def test_an_arc_says_its_radius_and_its_sweep(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path, rig=ARC)
    track = sheet["track"]
    assert (track["radius_m"], track["sections"]) == (3.0, 0)
    assert track["sweep_deg"] == pytest.approx(track["laid_m"] / 3 * 57.2958, abs=0.06)
    assert any("Arc of radius 3.00 m (9 ft 10 in)" in line for line in sheet["words"])


def test_feet_and_inches_carry_over() -> None:
    sheet = {
        "notice": "planning estimates, not clearances",
        "rig": "track",
        "track": {
            "setup_m": 4.0,
            "used_m": 4.0,
            "laid_m": 4.0,
            "from_m": 0.0,
            "run_up_m": 0.0,
            "run_out_m": 0.0,
            "before_m": 0.3,
            "beyond_m": 0.0,
            "section_m": 2.44,
            "sections": 2,
            "radius_m": 0.0,
            "sweep_deg": 0.0,
            "rise_m": 0.0,
        },
        "height_m": [1.5, 1.83],
        "marks": [],
        "max_speed_m_s": 1.25,
        "max_accel_m_s2": 0.6,
        "closest": {"subject": "a", "frame": 9, "distance_m": 3.0},
        "pan_deg": [-10.0, 20.0],
        "tilt_deg": [0.0, 0.0],
        "space_m": [6.0, 2.0],
        "margin_m": 1.0,
    }
    assert sheet_words(sheet) == [
        "Planning estimates, not clearances.",
        "Straight track: 4.00 m (13 ft 1 in), 2 sections of 2.44 m (8 ft 0 in); 4.00 m "
        "covered in the cut, run-up 0.00 m, run-out 0.00 m.",
        "The track runs 0.30 m (1 ft 0 in) past the near end of the setup's.",
        "Dolly at most 1.25 m/s (4.1 ft/s) and 0.60 m/s2.",
        "Lens 1.50 m (4 ft 11 in) to 1.83 m (6 ft 0 in) over the ground.",
        "Closest: a at 3.00 m (9 ft 10 in), frame 9.",
        "Pan 20.0 deg left and 10.0 deg right of the first frame; tilt 0.0 deg.",
        "Room: 6.00 x 2.00 m (19 ft 8 in x 6 ft 7 in), 1 m around the lens's path.",
    ]


def test_the_sheet_travels_in_the_take_in_metres(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path)
    table = read_take(tmp_path / "out/chase/takes/010.parquet")
    stored = take_metadata(table).grip_sheet
    assert stored["track"] == {
        name: value
        for name, value in sheet["track"].items()
        if not name.endswith("_ft")
    }
    assert stored["marks"][0]["frame"] == sheet["marks"][0]["frame"] == 1001
    assert not any(name.endswith("_ft") for name in stored)
