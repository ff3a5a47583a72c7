"""The sentence for each way in which a subject, or a whole job, can be wrong."""

from typing import Any

import pytest
from job_tables import a_job, a_shot, faults_of

SUBJECT_FAULTS = [
    ({"at": None}, '.at: must be one of "floor", "hips", "eyes", "head_top", got null'),
    ({"height_m": 0}, ".height_m: must be > 0 m, got 0 m"),
    ({"height": 1.7}, '.height: unknown field; did you mean "height_m"'),
    (
        {"file": "c.USDA"},
        ".prim: is required for an OpenUSD scene",
    ),
    (
        {"file": "c.xlsx"},
        ".file: must end in one of .parquet, .arrow, .csv, .bvh, .usd, .usda, .usdc, "
        '.usdz, got "c.xlsx"',
    ),
    ({"file": None}, ": needs either file or samples"),
    ({"joint": "hip"}, ".joint: is only for BVH files and OpenUSD scenes"),
    ({"prim": "/World/courier"}, ".prim: is only for OpenUSD scenes"),
    (
        {"file": "c.usd", "prim": "/courier", "first_sample_at": 1001},
        ".first_sample_at: is not for OpenUSD scenes, their codes are frames",
    ),
    ({"limit_m_s": -1}, ".limit_m_s: must be > 0 m/s, got -1 m/s"),
    ({"rate": "29.97"}, '.rate: a decimal is not exact, got "29.97"; say "30000/1001"'),
    (
        {
            "file": None,
            "samples": {"frame": [1, 2], "x": [0], "y": [0, 1], "z": [0, 1]},
        },
        ".samples: x has 1 values, the clock has 2",
    ),
    (
        {
            "file": None,
            "samples": {"frame": [2, 2], "x": [0, 1], "y": [0, 1], "z": [0, 1]},
        },
        ".samples: the clock must rise, got 2 after 2",
    ),
    (
        {
            "file": None,
            "samples": {"time_s": [0, 1], "x": [0, 1], "y": [0, 1], "z": [0, 1]},
        },
        ".first_sample_at: is required for samples in time",
    ),
]


@pytest.mark.parametrize(("fields", "line"), SUBJECT_FAULTS)
def test_a_fault_of_a_subject_is_one_sentence(
    fields: dict[str, Any], line: str
) -> None:
    shot = a_shot()
    shot["subjects"][0] |= fields
    assert faults_of(a_job(shot)) == [f"shots[0].subjects[0]{line}"]


def test_a_bvh_file_says_all_that_it_cannot_know() -> None:
    shot = a_shot()
    shot["subjects"][0]["file"] = "walk.BVH"
    missing = ("units", "up", "rate", "first_sample_at")
    assert faults_of(a_job(shot)) == [
        f"shots[0].subjects[0].{field}: is required for a BVH file" for field in missing
    ]


def test_subjects_have_names_of_their_own_and_one_has_a_share() -> None:
    twin = {"name": "Courier", "file": "d.csv", "at": "eyes", "height_m": 1.6}
    subjects = [a_shot()["subjects"][0] | {"share": 0}, twin]
    assert faults_of(a_job(a_shot(subjects=subjects))) == [
        'shots[0].subjects[1].name: "Courier" is already the name of another subject',
        "shots[0].subjects: one subject must have a share above 0",
    ]


JOB_FAULTS = [
    (
        {"schema": "carrellata.job/2"},
        'schema: must be "carrellata.job/1", got "carrellata.job/2"',
    ),
    ({"model": 2}, "model: must be 1, got 2"),
    (
        {"rate": "23.976"},
        'rate: a decimal is not exact, got "23.976"; say "24000/1001"',
    ),
    (
        {"rate": 23.976},
        'rate: must be text, not the number 23.976; say "24000/1001"',
    ),
    ({"rate": "23.98"}, 'rate: a decimal is not exact, got "23.98"; say "24000/1001"'),
    ({"rate": "25.0"}, 'rate: a decimal is not exact, got "25.0"; say "25"'),
    ({"rate": 24}, 'rate: must be text, not the number 24; say "24"'),
    (
        {"rate": "24/0"},
        'rate: must be "24", "25" or an exact ratio such as "24000/1001", got "24/0"',
    ),
    ({"rate": "2000"}, 'rate: must be 1 to 1000 frames a second, got "2000"'),
    ({"sequence": "-a"}, None),
    (
        {"timecode": "01:00:00;00"},
        'timecode: drop-frame (";") exists at 30000/1001 and 60000/1001 only, '
        "the rate is 24000/1001",
    ),
    (
        {"world": {"up": "Z", "metres_per_unit": 1}},
        'world.up: must be one of "y", "z", got "Z"',
    ),
    ({"world": {"up": "z"}}, "world.metres_per_unit: is required"),
    ({"stage": {"floor": []}}, "stage.floor: must have at least 3 values, got 0"),
    ({"sequnce": 1}, 'sequnce: unknown field; did you mean "sequence"'),
    (
        {"framing": {}},
        "framing: is a field of shots; put it in [defaults] or in a shot",
    ),
    ({"shots": []}, "shots: a job needs at least one shot"),
    ({"shots": {}}, "shots: must be a list, got a table"),
    ({"shots": [3]}, "shots[0]: must be a table, got 3"),
    ({"scenes": 3}, "scenes: must be a table, got 3"),
    ({"seed": -1}, "seed: must be >= 0, got -1"),
]


@pytest.mark.parametrize(("fields", "line"), JOB_FAULTS)
def test_a_fault_of_the_file_is_one_sentence(
    fields: dict[str, Any], line: str | None
) -> None:
    name_rule = (
        'sequence: must be 1 to 64 letters, digits, "_" or "-" and start with a letter '
        'or digit, got "-a"'
    )
    assert faults_of(a_job(**fields)) == [line or name_rule]


def test_names_differ_in_more_than_case() -> None:
    job = a_job(a_shot(name="10a", scene="hall"), a_shot(name="10A", scene="Hall"))
    assert faults_of(job) == [
        'shots[1].name: "10A" is already the name of shots[0]',
        'shots[1].scene: "Hall" and "hall" differ only in case',
    ]


def test_every_fault_of_a_job_is_told_at_once() -> None:
    shot = a_shot(
        lens_mm=45, frames=[9, 1], roll_deg=100, rig={"kind": "sticks"}, extra=1
    )
    job = a_job(shot, a_shot(name="020", view="side"), rate="x", wrld=1)
    assert len(faults_of(job)) == 8
