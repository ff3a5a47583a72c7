"""Crews in files of their own: read once, laid under the job's numbers, in the key."""

import json
from pathlib import Path
from typing import Any

import pytest
from job_tables import a_job, a_shot

from carrellata.jobs.errors import JobError
from carrellata.jobs.job.load import load_job
from carrellata.jobs.job.parse import parse_job
from carrellata.jobs.job.spec import JobFile
from carrellata.jobs.run.shots import crew_of
from carrellata.jobs.takes.keys import judge_key
from carrellata.solver.presets import PRESETS

OURS = """
name = "ours"
based_on = "brisk"
shake = { level = "shoulder", percent = 0.3 }
[operator]
reaction_s = 0.19
rest_s = 0.31
[puller]
method = "eye"
"""


def loaded(folder: Path, job: dict[str, Any], text: str = OURS) -> JobFile:
    (folder / "crews").mkdir(exist_ok=True)
    (folder / "crews/ours.toml").write_text(text, encoding="utf-8")
    path = folder / "job.json"
    path.write_text(json.dumps(job), encoding="utf-8")
    return load_job(path)


def with_ours(*shots: dict[str, Any], **crew: Any) -> dict[str, Any]:
    return a_job(*shots, crew={"preset": "crews/ours.toml", **crew})


def test_a_crew_is_its_file_over_its_preset_and_the_jobs_numbers_over_both(
    tmp_path: Path,
) -> None:
    job = loaded(tmp_path, with_ours(operator={"rest_s": 0.5}))
    crew = crew_of(job.shots[0].crew)
    assert crew.preset == "ours"
    assert crew.operator.reaction_s == 0.19
    assert crew.operator.rest_s == 0.5
    assert crew.operator.tolerance == PRESETS["brisk"].operator.tolerance
    assert crew.grip == PRESETS["brisk"].grip
    assert crew.focus_method == "eye"


def test_the_method_of_the_file_gives_way_to_the_jobs(tmp_path: Path) -> None:
    job = loaded(tmp_path, with_ours(puller={"method": "marks"}))
    assert crew_of(job.shots[0].crew).focus_method == "marks"


def test_its_shake_is_for_shots_that_say_nothing_of_shake(tmp_path: Path) -> None:
    job = loaded(tmp_path, with_ours(a_shot(), a_shot(name="020", shake="settled")))
    assert [shot.shake.level for shot in job.shots] == ["shoulder", "settled"]
    assert job.shots[0].shake.percent == 0.3


def test_a_job_carries_its_crew_and_reads_back_without_the_file(
    tmp_path: Path,
) -> None:
    job = loaded(tmp_path, with_ours())
    plain = job.model_dump(mode="json", by_alias=True)
    (tmp_path / "crews/ours.toml").unlink()
    again = parse_job(plain)
    assert again == job
    assert crew_of(again.shots[0].crew) == crew_of(job.shots[0].crew)


def test_the_bytes_of_the_file_are_in_the_key(tmp_path: Path) -> None:
    jobs = [loaded(tmp_path, with_ours(), text) for text in (OURS, OURS, OURS + "# x")]
    first, same, other = (judge_key(job, job.shots[0], {}) for job in jobs)
    assert first == same != other


def test_without_a_job_file_there_is_nothing_to_read_from() -> None:
    with pytest.raises(JobError) as caught:
        parse_job(with_ours())
    assert str(caught.value) == (
        'crew.preset: "crews/ours.toml" is read only with a job that is a file itself'
    )


@pytest.mark.parametrize(
    ("text", "lines"),
    [
        ("", ['"crews/ours.toml" is empty']),
        ("a = ", ['"crews/ours.toml": end of document: invalid value']),
        ("rest_s = 1", ["name: is required", "rest_s: unknown field"]),
        (
            'name = "x"\n[operator]\nmax_speed = -1\nrets_s = 1',
            [
                "operator.max_speed: must be > 0 deg/s, got -1 deg/s",
                'operator.rets_s: unknown field; did you mean "rest_s"',
            ],
        ),
        ('name = "x"\nbased_on = "brsk"', ['based_on: must be one of "steady", "br']),
    ],
)
def test_what_is_wrong_in_the_file_is_told_with_its_name(
    tmp_path: Path, text: str, lines: list[str]
) -> None:
    with pytest.raises(JobError) as caught:
        loaded(tmp_path, with_ours(a_shot(lens_mm=45)), text)
    faults = [str(fault) for fault in caught.value.faults if fault.path != ""]
    told = [line for line in faults if line.startswith("crew.preset: ")]
    assert len(told) == len(lines)
    for line, part in zip(told, lines, strict=True):
        assert line.startswith('crew.preset: "crews/ours.toml"')
        assert part in line
    assert any(line.startswith("shots[0].lens_mm: 45 mm") for line in faults)


def test_a_missing_file_is_told_at_the_shot_that_names_it(tmp_path: Path) -> None:
    shots = (a_shot(), a_shot(name="020", crew={"preset": "none.toml"}))
    with pytest.raises(JobError) as caught:
        loaded(tmp_path, a_job(*shots))
    assert str(caught.value) == 'shots[1].crew.preset: "none.toml" no such file'


def test_a_shake_of_the_file_must_fit_the_frame_rate(tmp_path: Path) -> None:
    text = 'name = "x"\nshake = { level = "rough", band_hz = [0.5, 9] }'
    with pytest.raises(JobError, match=r"band_hz: the top must be <= 5\.4 Hz"):
        loaded(tmp_path, with_ours() | {"rate": "12"}, text)


@pytest.mark.parametrize(
    "crew",
    [
        {"preset": "brisk", "file": {"name": "x"}, "file_sha256": "0" * 64},
        {"preset": "x.toml", "file": {"name": "x"}},
        {"preset": "x.toml", "file": {"name": "x"}, "file_sha256": "0" * 63},
    ],
)
def test_a_carried_file_stands_with_its_preset_and_digest(crew: dict[str, Any]) -> None:
    with pytest.raises(JobError, match=r"crew"):
        parse_job(a_job(crew=crew))
