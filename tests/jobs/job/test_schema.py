"""The JSON Schema says of a job what the checks of single fields say."""

import tomllib
from pathlib import Path
from typing import Any

import jsonschema_rs
import pytest
from job_tables import ACCEPTED, FULL_JOB, a_job, a_shot

from carrellata.jobs.errors import JobError
from carrellata.jobs.examples import ferry_dash
from carrellata.jobs.job.parse import parse_job
from carrellata.jobs.job.schema import job_schema

VALIDATOR = jsonschema_rs.validator_for(job_schema())
CHOOSE = {"kind": "choose"}


def test_jobs_that_are_read_are_valid() -> None:
    example = (Path(ferry_dash.__path__[0]) / "job.toml").read_text(encoding="utf-8")
    for job in (a_job(), FULL_JOB, tomllib.loads(example)):
        VALIDATOR.validate(job)


def test_a_checked_job_written_out_is_valid() -> None:
    job = parse_job(FULL_JOB).model_dump(mode="json", by_alias=True)
    VALIDATOR.validate(job)


FIELDS: list[tuple[dict[str, Any], bool]] = [
    ({"rig": CHOOSE}, True),
    ({"rig": CHOOSE | {"kinds": ["track"], "hold": "view"}}, True),
    ({"rig": CHOOSE | {"kinds": []}}, False),
    ({"rig": CHOOSE | {"kinds": ["crane"]}}, False),
    ({"lens_mm": "choose"}, True),
    ({"lens_mm": "chose"}, False),
    ({"lens_mm": 0}, False),
    ({"height": "choose"}, True),
    ({"height": None}, True),
    ({"height": "low"}, False),
    ({"side": "choose"}, True),
    ({"side": "centre"}, False),
    ({"rig": CHOOSE, "view": "three_quarter"}, True),
    ({"rig": CHOOSE, "view": "side"}, False),
    ({"rig": CHOOSE, "view": 181}, False),
    ({"stage": {"floor": [[0, 0], [1, 0], [0, 1]]}}, True),
    ({"stage": {"floor": [[0, 0], [1, 0]]}}, False),
    ({"stage": {"keep_outs": [{"name": "k"}]}}, False),
    ({"stage": {"straight_m": 0}}, False),
    ({"stage": {"roof": 3}}, False),
    ({"keep_setup": False}, True),
    ({"keep_setup": {"margin": 0.3}}, True),
    ({"keep_setup": {"margin": 3}}, False),
    ({"lock": "0123456789abcdef" * 4}, True),
    ({"lock": "latest"}, False),
    ({"accept": [ACCEPTED]}, True),
    ({"accept": [{"finding": "crosses_line"}]}, False),
    ({"accept": [ACCEPTED | {"finding": "zzz"}]}, False),
    ({"crew": {"preset": "brsk"}}, False),
    ({"habits": {}}, False),
]


@pytest.mark.parametrize(("fields", "valid"), FIELDS)
def test_fields_of_a_shot_are_valid_exactly_where_they_are_read(
    fields: dict[str, Any], valid: bool
) -> None:
    job = a_job(a_shot(**fields))
    assert VALIDATOR.is_valid(job) is valid
    if valid:
        parse_job(job)
    else:
        with pytest.raises(JobError):
            parse_job(job)


@pytest.mark.parametrize(
    ("fields", "valid"),
    [
        ({"stage": {"height_m": [0.3, 2.6], "curve_radius_m": []}}, True),
        ({"stage": {"height_m": [0.3]}}, False),
        ({"habits": {"lens_use": {"35": 0.5}}}, True),
        ({"habits": {"lens_use": {"wide": 0.5}}}, False),
        ({"habits": {"size_use": {"closeup": 0.5}}}, False),
        ({"habits": {"variety": -1}}, False),
        ({"habits": {"cut_weights": {"crosses_line": 3}}}, True),
        ({"habits": {"cut_weights": {"cross_line": 3}}}, False),
    ],
)
def test_fields_of_the_file_are_valid_exactly_where_they_are_read(
    fields: dict[str, Any], valid: bool
) -> None:
    job = a_job(**fields)
    assert VALIDATOR.is_valid(job) is valid
    if valid:
        parse_job(job)
    else:
        with pytest.raises(JobError):
            parse_job(job)


def test_the_file_of_a_crew_is_named_by_its_suffix() -> None:
    assert VALIDATOR.is_valid(a_job(crew={"preset": "crews/night.toml"}))
    assert not VALIDATOR.is_valid(a_job(crew={"preset": "crews/night.json"}))


LENGTHS: list[tuple[dict[str, Any], bool]] = [
    ({"rig": {"kind": "sticks", "at": ["-12ft 6in", "5 ft", '30"']}}, True),
    ({"rig": {"kind": "sticks", "at": [0, "1.5", 4]}}, False),
    ({"rig": CHOOSE, "height": "4' 6\""}, True),
    ({"rig": CHOOSE, "height": "4 cubits"}, False),
    ({"stage": {"height_m": ["1ft", "8FT 6IN"], "straight_m": "8ft"}}, True),
    ({"stage": {"curve_radius_m": ["10ft", 3.1], "min_distance_m": "3 feet"}}, True),
    ({"stage": {"min_distance_m": "ft"}}, False),
    ({"stage": {"floor": [["0in", 0], ["1ft", 0], [0, "1ft"]]}}, True),
    ({"roll_deg": "1ft"}, False),
    ({"lens_mm": "2in"}, False),
]


@pytest.mark.parametrize(("fields", "valid"), LENGTHS)
def test_lengths_in_feet_and_inches_are_valid_exactly_where_they_are_read(
    fields: dict[str, Any], valid: bool
) -> None:
    test_fields_of_a_shot_are_valid_exactly_where_they_are_read(fields, valid)
