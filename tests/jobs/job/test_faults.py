"""Findings in sequence.parquet, in words, accepted, and as an exit code."""

import json
from pathlib import Path
from typing import Any

import pytest
from job_files import metre_job, rows_of, write_job

from carrellata.jobs.job.carry import FINDING_NAMES
from carrellata.jobs.job.parse import parse_job
from carrellata.jobs.job.spec import JobFile
from carrellata.jobs.run.local import solve_job
from carrellata.jobs.takes import findings_words
from carrellata.jobs.takes.continuity import (
    CutEntry,
    entry_of,
    findings_of,
    plain_finding,
    reached,
)
from carrellata.jobs.takes.findings_words import sentence
from carrellata.jobs.takes.keys import canonical
from carrellata.jobs.takes.metadata import take_metadata
from carrellata.jobs.takes.take_file import read_take
from carrellata.solver.cuts.findings import Finding
from carrellata.worker.cli import main

FIRST, LAST = 1001, 1036


def walk(speed: float = 1.4, start: float = 0.0) -> dict[str, list[float]]:
    frames = range(FIRST - 4, LAST + 5)
    return {
        "frame": list(frames),
        "x": [start + speed * (f - FIRST) / 24 for f in frames],
        "y": [0.0 for _ in frames],
        "z": [0.0 for _ in frames],
    }


def walk_from(name: str, z: float, **fields: Any) -> dict[str, Any]:
    """A walk to the right seen from sticks at z; from z > 0 it runs right."""
    subject = {"name": "guard", "samples": walk(), "at": "floor", "height_m": 1.7}
    shot = {
        "name": name,
        "frames": [FIRST, LAST],
        "subjects": [subject],
        "rig": {"kind": "sticks", "at": [1.0, 1.5, z]},
    }
    return shot | fields


def moved_on(**fields: Any) -> dict[str, Any]:
    """The same walk, where it goes on after the cut."""
    subject = {
        "name": "guard",
        "samples": walk(start=1.4 * (LAST + 1 - FIRST) / 24),
        "at": "floor",
        "height_m": 1.7,
    }
    return walk_from("020", -11.0, subjects=[subject], **fields)


def crossing(**fields: Any) -> dict[str, Any]:
    return metre_job(walk_from("010", 11.0), moved_on(**fields))


def found_in(folder: Path, job: dict[str, Any]) -> dict[str, list[dict[str, Any]]]:
    folder.mkdir(exist_ok=True)
    outcome = solve_job(write_job(folder, job), folder / "out", workers=1)
    assert [row.error for row in outcome.rows] == [None] * len(outcome.rows)
    rows = rows_of(outcome.folder / "sequence.parquet")
    assert {row.shot: row.findings for row in outcome.rows} == {
        name: row["findings"] for name, row in rows.items()
    }
    return {name: json.loads(row["findings"]) for name, row in rows.items()}


def cuts(found: list[dict[str, Any]]) -> list[str]:
    return [one["name"] for one in found if one["of"] == "cut"]


def entries_of(job: JobFile) -> list[CutEntry]:
    return [entry_of(job, spec) for spec in job.shots]


def test_a_fixed_cut_across_the_line_stands_with_the_incoming_shot(
    tmp_path: Path,
) -> None:
    found = found_in(tmp_path, crossing())
    assert cuts(found["010"]) == []
    (crossed,) = [one for one in found["020"] if one["name"] == "crosses_line"]
    assert crossed["severity"] == "fault"
    assert crossed["numbers"]["against"] == "010"
    # Both cameras stand 11 m off the walk, one on either side.
    assert crossed["numbers"]["from_deg"] < 0 < crossed["numbers"]["to_deg"]
    assert "180-degree rule" in crossed["source"]
    assert crossed["accepted"] is None
    assert "010" in crossed["text"]
    assert "020" in crossed["text"]
    assert "subject_moved" not in cuts(found["020"])


def test_the_same_side_is_no_finding_and_elapsed_time_none_either(
    tmp_path: Path,
) -> None:
    same = crossing(rig={"kind": "sticks", "at": [6.0, 1.5, 9.0]})
    assert "crosses_line" not in cuts(found_in(tmp_path / "a", same)["020"])
    later = crossing(cut="elapsed")
    assert cuts(found_in(tmp_path / "b", later)["020"]) == []


def test_a_subject_moved_between_shots_is_found(tmp_path: Path) -> None:
    job = metre_job(walk_from("010", 11.0), walk_from("020", 9.0, lens_mm=25))
    (moved,) = [
        one for one in found_in(tmp_path, job)["020"] if one["name"] == "subject_moved"
    ]
    # The second walk begins where the first began: 35 frames back at 1.4 m/s.
    assert moved["numbers"]["moved_m"] == pytest.approx(1.4 * 35 / 24, abs=1e-9)


def test_an_accepted_finding_stays_listed_and_counts_no_more(tmp_path: Path) -> None:
    accept = {"finding": "crosses_line", "reason": "the turn is seen", "by": "layout"}
    found = found_in(tmp_path, crossing(accept=[accept]))
    (crossed,) = [one for one in found["020"] if one["name"] == "crosses_line"]
    assert crossed["accepted"] == {"reason": "the turn is seen", "by": "layout"}
    text = json.dumps(found["020"])
    assert not reached([text], "fault")
    open_one = json.dumps([crossed | {"accepted": None}])
    assert reached([open_one], "fault")
    assert reached([open_one], "note")


def test_a_neighbour_changes_the_row_and_not_the_take(tmp_path: Path) -> None:
    path, out = write_job(tmp_path, crossing()), tmp_path / "out"
    folder = solve_job(path, out, workers=1).folder
    take = (folder / "takes" / "020.parquet").read_bytes()
    job = metre_job(walk_from("010", -10.0), moved_on())
    outcome = solve_job(write_job(tmp_path, job), out, workers=1)
    assert [row.status for row in outcome.rows] == ["solved", "kept"]
    rows = rows_of(folder / "sequence.parquet")
    assert "crosses_line" not in rows["020"]["findings"]
    assert (folder / "takes" / "020.parquet").read_bytes() == take


def test_solving_one_shot_judges_the_cuts_of_the_whole_sequence(
    tmp_path: Path,
) -> None:
    path, out = write_job(tmp_path, crossing()), tmp_path / "out"
    alone = solve_job(path, out, shots=["020"], workers=1)
    assert cuts(json.loads(alone.rows[0].findings)) == []
    first = solve_job(path, out, shots=["010"], workers=1)
    assert [row.shot for row in first.rows] == ["010"]
    rows = rows_of(alone.folder / "sequence.parquet")
    assert "crosses_line" in rows["020"]["findings"]


def test_a_take_carries_its_own_ends_and_nothing_of_its_neighbours(
    tmp_path: Path,
) -> None:
    outcome = solve_job(write_job(tmp_path, crossing()), tmp_path / "out", workers=1)
    for row in outcome.rows:
        table = read_take(outcome.folder / "takes" / f"{row.shot}.parquet")
        metadata = take_metadata(table)
        assert row.ends is not None
        assert json.loads(canonical(metadata.ends.plain())) == json.loads(row.ends)
        ends = metadata.ends
        frames = table["frame"].to_pylist()
        for end, frame in ((ends.first, FIRST), (ends.last, LAST)):
            k = frames.index(frame)
            assert end.frame == frame
            assert end.u == table["subject_u"][k].as_py()
            assert end.lens == tuple(table[name][k].as_py() for name in "xyz")
            start = 0.0 if row.shot == "010" else 1.4 * (LAST + 1 - FIRST) / 24
            walked = start + 1.4 * (frame - FIRST) / 24
            assert end.place == pytest.approx((walked, 0.0, 0.0))


@pytest.mark.parametrize(
    ("words", "code"),
    [
        ([], 0),
        (["--fail-on", "fault"], 5),
        (["--fail-on", "warning"], 5),
        (["--fail-on", "note"], 5),
        (["--fail-on", "grave"], 2),
    ],
)
def test_a_finding_as_severe_as_asked_ends_in_five(
    tmp_path: Path, words: list[str], code: int, capsys: pytest.CaptureFixture[str]
) -> None:
    path = write_job(tmp_path, crossing())
    given = ["solve", str(path), "-o", str(tmp_path / "out"), "--workers", "1", *words]
    assert main(given) == code
    said = capsys.readouterr()
    if code == 2:
        assert 'must be one of note, warning, fault, got "grave"' in said.err
    else:
        assert "findings: 1 fault" in said.out


def test_accepting_the_only_fault_ends_in_nought(tmp_path: Path) -> None:
    accept = {"finding": "crosses_line", "reason": "asked for", "by": "editorial"}
    path = write_job(tmp_path, crossing(accept=[accept]))
    given = ["solve", str(path), "-o", str(tmp_path / "out"), "--fail-on", "fault"]
    assert main(given) == 0


def test_failed_shots_end_in_one_whatever_was_found(tmp_path: Path) -> None:
    ghost = {"name": "g", "file": "no.csv", "at": "floor", "height_m": 1.7}
    job = crossing()
    job["shots"].append(walk_from("030", 11.0, subjects=[ghost]))
    path = write_job(tmp_path, job)
    given = ["solve", str(path), "-o", str(tmp_path / "out"), "--fail-on", "fault"]
    assert main(given) == 1


def test_json_has_findings_as_values(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = write_job(tmp_path, crossing())
    assert main(["solve", str(path), "-o", str(tmp_path / "out"), "--json"]) == 0
    shots = json.loads(capsys.readouterr().out)["shots"]
    assert "crosses_line" in [one["name"] for one in shots[1]["findings"]]


def test_a_shot_without_a_take_parts_its_neighbours() -> None:
    job = parse_job(crossing())
    found = findings_of(entries_of(job), ends={}, measures={})
    assert found == {"010": "[]", "020": "[]"}


def test_what_broke_a_lock_stays_through_later_merges_and_can_be_accepted() -> None:
    numbers = NUMBERS["lock_broken"]
    broken = Finding(name="lock_broken", severity="fault", subject_of="shot",
                     numbers=numbers)  # fmt: skip
    job = parse_job(crossing())
    earlier = {"020": json.dumps([plain_finding(broken, entry_of(job, job.shots[1]))])}
    found = findings_of(entries_of(job), ends={}, measures={}, earlier=earlier)
    assert found["020"] == canonical(json.loads(earlier["020"]))
    accept = {"finding": "lock_broken", "reason": "it is fine", "by": "layout"}
    forgiven = parse_job(crossing(accept=[accept]))
    again = findings_of(entries_of(forgiven), ends={}, measures={}, earlier=found)
    assert reached([found["020"]], "fault")
    assert not reached([again["020"]], "note")


def test_what_is_accepted_in_vain_is_told_once_the_shot_has_a_take() -> None:
    accept = {"finding": "near_axis", "reason": "it is fine", "by": "layout"}
    job = parse_job(crossing(accept=[accept]))
    assert findings_of(entries_of(job), ends={}, measures={})["020"] == "[]"
    (found,) = json.loads(
        findings_of(entries_of(job), ends={}, measures={"020": {}})["020"]
    )
    assert (found["name"], found["severity"]) == ("accepts_nothing", "note")
    assert "020 accepts near_axis, which it does not have" in found["text"]


def test_what_can_be_found_can_be_accepted() -> None:
    assert tuple(sorted(findings_words._SENTENCES)) == FINDING_NAMES


NUMBERS: dict[str, dict[str, float | str]] = {
    "accepts_nothing": {"accepted": "near_axis"},
    "unseen_frames": {"subject": "courier", "first": 1111, "last": 1120},
    "beat_missed": {"missed": 12}, "no_cut": {"action": "talk", "helps": ""},
    "camera_seen": {"what": "way", "other": "030", "frame": 1001, "runs": 2},
    "crosses_line": {
        "against": "010", "subject": "a|b", "from_deg": -33.7, "to_deg": 146.3,
        "line": "pair",
    },
    "near_axis": {
        "against": "010", "subject": "a", "from_deg": -60.0, "to_deg": 8.0,
        "line": "travel",
    },
    "screen_direction": {
        "against": "010", "subject": "a", "from_m_s": 2.0, "to_m_s": -1.4,
    },
    "crosses_in_shot": {"subject": "a", "from_deg": -80.0, "to_deg": 80.0, "line": "f"},
    "breaks_cut_rule": {"rule": "longest", "asked": 20.0, "held_s": 21.5},
    "cut_not_read": {"action": "talk", "faults": "cut.otio: is not UTF-8 text"},
    "under_30_degrees": {
        "against": "010", "subject": "a", "turn_deg": 12.0, "from_size": "full",
        "to_size": "knee", "size_steps": 1.1,
    },
    "adds_nothing": {
        "against": "010", "subject": "a", "turn_deg": 12.0, "from_size": "full",
        "to_size": "full", "size_steps": 0.0},
    "size_unchanged": {
        "against": "010", "subject": "a", "turn_deg": 35.0, "from_size": "full",
        "to_size": "full", "size_steps": 0.0,
    },
    "size_jump": {
        "against": "010", "subject": "a", "turn_deg": 90.0, "from_size": "full",
        "to_size": "eyes", "size_steps": 6.5,
    },
    "unmatched_reverses": {
        "against": "010", "from_lens_mm": 75.0, "to_lens_mm": 50.0,
        "from_height_m": 1.6, "to_height_m": 1.2,
    },
    "eye_jump": {"against": "010", "half_frames": 1.3, "from_u": -0.6, "to_u": 0.7},
    "subject_moved": {
        "against": "010", "subject": "a", "moved_m": 0.8, "explained_m": 0.3,
    },
    "lens_run": {"lens_mm": 35.0, "in_a_row": 3.0},
    "subject_lost": {"in_frame": 0.9996}, "out_of_safe": {"in_safe": 0.97},
    "head_cut": {"head_in_frame": 0.9}, "let_go": {"others_in_frame": 0.5},
    "size_out_of_reach": {"asked_m": 4.0, "nearest_m": 12.0, "furthest_m": 14.0},
    "rig_off_floor": {"rig_off_floor_m": 0.4},
    "rig_off_height": {"rig_off_height_m": 0.1},
    "rig_leaves_floor": {"rig_step_m": 0.2}, "rig_in_keep_out": {"keep_out": "kiosk"},
    "sight_forbidden": {"keep_out": "kiosk"},
    "hidden_behind": {"hidden_by": "kiosk", "hidden": 0.11},
    "size_not_kept": {"size_kept": 0.5},
    "angle_not_kept": {"angle_kept": 0.2},
    "soft_focus": {"soft": 0.0002},
    "subject_hidden": {"seen": 0.8},
    "limit_reached": {"pan_speed_used": 1.0},
    "close_to_lens": {"closest_m": 0.62},
    "same_side": {"against": "010", "subject": "guard", "side": "left"},
    "refused_plans": {"refused_plans": 1.0}, "whip_used": {"whip_plans": 2.0},
    "strobing": {"strobing_deg_s": 40.0, "limit_deg_s": 5.0},
    "lock_broken": {"in_frame": 0.8, "in_frame_locked": 1.0},
    "intent_missed": {"claim": "still", "done": "it moves", "missed": "", "short": 1.0},
}  # fmt: skip


@pytest.mark.parametrize("name", FINDING_NAMES)
def test_a_finding_is_one_sentence_that_names_its_shots_and_what_to_do(
    name: str,
) -> None:
    numbers = NUMBERS[name]
    finding = Finding(
        name=name, severity="note", subject_of="cut", numbers=numbers, source="-"
    )
    text = sentence(finding, "020")
    assert "020" in text
    assert str(numbers.get("against", "020")) in text
    assert text == text.strip()
    assert text.endswith(".")
    assert ". " not in text
    assert any(mark in text for mark in (";", ","))


def test_a_share_is_never_rounded_to_perfection() -> None:
    def said(name: str) -> str:
        numbers = NUMBERS[name]
        found = Finding(name=name, severity="note", subject_of="shot", numbers=numbers)
        return sentence(found, "020")

    assert "over 99.9 %" in said("subject_lost")
    assert "under 0.1 %" in said("soft_focus")
    assert "50 % of" in said("size_not_kept")


def test_axes_and_units_of_the_scene_change_nothing(tmp_path: Path) -> None:
    def in_centimetres(shot: dict[str, Any]) -> dict[str, Any]:
        """The shot in a Z-up scene in centimetres: x is x, y is -z, z is y."""
        (subject,) = shot["subjects"]
        walked = subject["samples"]
        samples = {
            "frame": walked["frame"],
            "x": [100 * x for x in walked["x"]],
            "y": [-100 * z for z in walked["z"]],
            "z": [100 * y for y in walked["y"]],
        }
        x, y, z = shot["rig"]["at"]
        rig = {"kind": "sticks", "at": [100 * x, -100 * z, 100 * y]}
        return shot | {"subjects": [subject | {"samples": samples}], "rig": rig}

    shots = [walk_from("010", 11.0), walk_from("020", -9.0)]
    metres = found_in(tmp_path / "m", metre_job(*shots))
    world = {"up": "z", "metres_per_unit": 0.01}
    centimetres = found_in(
        tmp_path / "cm", metre_job(*map(in_centimetres, shots), world=world)
    )
    assert {"crosses_line", "subject_moved"} <= set(cuts(metres["020"]))
    for name, found in metres.items():
        assert [one["text"] for one in found] == [
            one["text"] for one in centimetres[name]
        ]
        for one, other in zip(found, centimetres[name], strict=True):
            for key, value in one["numbers"].items():
                near = pytest.approx(value, abs=1e-6)
                same = value if isinstance(value, str) else near
                assert other["numbers"][key] == same


def test_the_lenses_of_a_sequence_are_counted(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job = metre_job(
        walk_from("010", 11.0), moved_on(), walk_from("030", 6.0, lens_mm=25)
    )
    path = write_job(tmp_path, job)
    assert main(["solve", str(path), "-o", str(tmp_path / "out"), "-v"]) == 0
    said = capsys.readouterr().out
    assert "lenses: 25 mm 1 shot, 50 mm 2 shots" in said
    assert "020: fault: The camera crosses the line" in said
