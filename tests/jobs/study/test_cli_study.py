"""The study command: one camera, many, findings, what it writes, how it ends."""

import json
import tomllib

import numpy as np
import pyarrow.parquet as pq
import pytest
from command_line import run
from studied import taken
from study_files import (
    columns,
    exact_columns,
    subject_entry,
    write_columns,
    write_study,
)

from carrellata.jobs.job.habits import HabitsSpec
from carrellata.jobs.takes.findings_words import sentence
from carrellata.solver.cuts.findings import shot_findings


@pytest.fixture
def three(tmp_path):
    """An exact camera, one by a crew with a 40 mm lens, and one that is broken."""
    entry = subject_entry(tmp_path, "referee_turns", 200)
    write_columns(tmp_path / "exact.csv", exact_columns())
    known = taken("referee_turns", "sticks", seconds=8.0)
    made = columns(known.camera)
    made["focal_mm"] = np.full(len(made["frame"]), 40.0)
    write_columns(tmp_path / "made.parquet", made)
    broken = exact_columns()
    broken["x"][5] = np.nan
    write_columns(tmp_path / "broken.csv", broken)
    return write_study(
        tmp_path,
        *(
            {"name": file.split(".")[0], "file": file, "subject": entry}
            for file in ("exact.csv", "made.parquet", "broken.csv")
        ),
    )


def test_an_audit_names_everything_and_loses_nothing(three, tmp_path):
    ended = run("study", three, "--json", "--fail-on", "fault", "-o", tmp_path / "out")
    assert ended.code == 1  # broken data comes before findings
    exact, made, broken = json.loads(ended.out)["cameras"]
    assert exact["made_by"] == "rigid aim"
    assert [one["name"] for one in exact["findings"]] == ["rigid_aim"]
    assert made["made_by"] not in ("rigid aim", "held still")
    assert "lens_not_in_kit" in {one["name"] for one in made["findings"]}
    assert broken["faults"][0]["path"] == "cameras[2].file"
    assert "row 6" in broken["faults"][0]["message"]
    rows = pq.read_table(tmp_path / "out/study.parquet").to_pylist()
    assert [row["status"] for row in rows] == ["studied", "studied", "failed"]
    page = (tmp_path / "out/index.html").read_text()
    assert "rigid aim" in page
    assert "row 6" in page


@pytest.mark.parametrize(
    ("severity", "code"), [("fault", 0), ("warning", 5), ("note", 5)]
)
def test_a_finding_that_reaches_the_severity_ends_with_five(three, severity, code):
    study = json.loads(three.read_text())
    study["cameras"] = study["cameras"][:1]
    three.write_text(json.dumps(study))
    assert run("study", three, "--no-fit", "--fail-on", severity).code == code


def test_a_sequences_lens_and_size_use_is_written_as_habits(three, tmp_path):
    ended = run("study", three, "--habits", tmp_path / "habits.toml")
    assert "is written" not in ended.err
    found = tomllib.loads((tmp_path / "habits.toml").read_text())["habits"]
    habits = HabitsSpec.model_validate(found)
    assert sum(habits.lens_use.values()) == pytest.approx(1.0, abs=1e-3)
    assert habits.lens_use["50"] == pytest.approx(0.5, abs=0.01)


def test_cuts_of_a_studied_sequence_are_judged_and_end_with_five(three, tmp_path):
    study = json.loads(three.read_text())
    study["cameras"] = study["cameras"][:2]
    three.write_text(json.dumps(study))
    ended = run("study", three, "--json", "-o", tmp_path / "out")
    exact, made = json.loads(ended.out)["cameras"]
    assert [one["of"] for one in exact["findings"]] == ["shot"]
    cuts = {one["name"]: one for one in made["findings"] if one["of"] == "cut"}
    # Both stand on the same sticks; the second has a 40 mm lens in place of a 50.
    # A view 21 degrees on, of one size, brings nothing.
    assert cuts["adds_nothing"]["numbers"]["against"] == "exact"
    assert "exact" in cuts["adds_nothing"]["text"]
    # Eight seconds go back at the cut.
    assert cuts["subject_moved"]["severity"] == "warning"
    use = json.loads(ended.out)["use"]
    assert use["lenses_mm"] == {"40": 1, "50": 1}
    page = (tmp_path / "out/index.html").read_text()
    assert cuts["subject_moved"]["text"][:40] in page
    assert "lenses: 40 mm 1, 50 mm 1" in page
    study["cameras"] = [study["cameras"][0], study["cameras"][0] | {"name": "again"}]
    study["limits"] = "sharp"
    three.write_text(json.dumps(study))
    ended = run("study", three, "--json")
    found = json.loads(ended.out)["cameras"][1]["findings"]
    assert {one["name"] for one in found if one["of"] == "cut"}


@pytest.mark.parametrize("change", [{"cut": "elapsed"}, {"scene": "other"}])
def test_where_time_has_elapsed_or_in_another_scene_no_cut_is_judged(three, change):
    study = json.loads(three.read_text())
    study["cameras"] = study["cameras"][:2]
    study["cameras"][1] |= change
    three.write_text(json.dumps(study))
    _, made = json.loads(run("study", three, "--json").out)["cameras"]
    assert not [one for one in made["findings"] if one["of"] == "cut"]


def test_a_lost_subject_is_faulted_as_in_a_solved_shot(tmp_path):
    entry = subject_entry(tmp_path, "referee_turns", 200)
    away = exact_columns()
    away["pan_deg"] = np.where(away["frame"] % 10 == 0, 60.0, away["pan_deg"])
    write_columns(tmp_path / "away.csv", away)
    study = write_study(tmp_path, {"name": "a", "file": "away.csv", "subject": entry})
    (one,) = json.loads(run("study", study, "--json", "--no-fit").out)["cameras"]
    found = {finding["name"]: finding for finding in one["findings"]}
    (same,) = [
        finding
        for finding in shot_findings({"in_frame": one["in_frame"]})
        if finding.name == "subject_lost"
    ]
    assert found["subject_lost"]["severity"] == same.severity == "fault"
    assert found["subject_lost"]["text"] == sentence(same, "a")


def test_bad_studies_are_refused_with_every_fault(three):
    study = json.loads(three.read_text())
    study["cameras"][1]["name"] = "EXACT"
    study["camera"]["aspect"] = -1
    study["rate"] = 23.976
    three.write_text(json.dumps(study))
    ended = run("study", three)
    assert ended.code == 2
    assert "camera.aspect" in ended.err
    assert "rate" in ended.err
    assert run("study", three, "--fail-on", "grave").code == 2


def test_a_single_camera_needs_its_subject(three):
    ended = run("study", three.parent / "exact.csv")
    assert ended.code == 2
    assert "--subject: is required" in ended.err


@pytest.mark.slow
def test_a_learned_crew_is_a_preset_that_a_job_names(tmp_path):
    from job_files import metre_job, solve_on_disk

    entry = subject_entry(tmp_path, "referee_turns", 400)
    known = taken(
        "referee_turns",
        "sticks",
        shake="settled",
        operator={"reaction_s": 0.21, "tolerance": 0.07},
    )
    write_columns(tmp_path / "made.parquet", columns(known.camera))
    words = ["study", tmp_path / "made.parquet"]
    words += ["--subject", tmp_path / entry["file"], "--height-m", 1.75]
    ended = run(*words, "--size", "full", "--preset", tmp_path / "seen.toml")
    assert ended.code == 0, ended.err
    assert "made by: followed by a crew" in ended.out
    crew = tomllib.loads((tmp_path / "seen.toml").read_text())
    assert crew["operator"].keys() >= {"reaction_s", "tolerance"}
    shot = {
        "name": "010",
        "frames": [0, 95],
        "subjects": [entry],
        "rig": {"kind": "sticks", "at": [0, 1.5, 14]},
    }
    job = metre_job(shot, crew={"preset": "seen.toml"})
    taken_again = solve_on_disk(tmp_path, job)["010"]
    for name in ("reaction_s", "tolerance"):
        found = taken_again.metadata.crew.operator[name]
        assert found == pytest.approx(crew["operator"][name])
