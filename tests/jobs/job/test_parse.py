"""Whatever is put into a job, the answer is a job or its faults."""

import copy
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from job_tables import FULL_JOB, a_job, a_shot

from carrellata.jobs.errors import JobError
from carrellata.jobs.job.faults import field_names
from carrellata.jobs.job.locations import path_text, shown
from carrellata.jobs.job.parse import parse_job
from carrellata.jobs.job.shot import ShotSpec
from carrellata.jobs.job.spec import JobFile

REPEATABLE = settings(max_examples=300, deadline=None, derandomize=True, database=None)

SCALARS = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(),
    st.sampled_from([10**400, -(10**30), 2**63]),
    st.floats(),
    st.text(st.characters(), max_size=8),
    st.sampled_from(["choose", "\ud800", "a\0b", "track", "a.usd", "24/1", "x" * 999]),
    st.sampled_from(["a.toml", "a\0.toml", "view", "0" * 64]),
    st.binary(max_size=3),
)
NAMES = st.one_of(
    st.sampled_from([*field_names(JobFile), *field_names(ShotSpec), "kind", "to"]),
    st.text(max_size=4),
    st.just("\ud800"),
)
JUNK = st.recursive(
    SCALARS,
    lambda inner: st.one_of(
        st.lists(inner, max_size=4), st.dictionaries(NAMES, inner, max_size=4)
    ),
    max_leaves=12,
)


def answer_to(data: Any) -> JobFile | JobError:
    """Return the job, or the error with which the data is refused."""
    try:
        return parse_job(data)
    except JobError as error:
        return error


def is_job_or_faults(data: Any) -> None:
    """Fail unless the answer is a job that reads back, or one line a fault."""
    answer = answer_to(data)
    if isinstance(answer, JobFile):
        assert parse_job(answer.model_dump(mode="json", by_alias=True)) == answer
        return
    assert answer.faults
    assert len(str(answer).splitlines()) == len(answer.faults)
    assert str(answer).encode("utf-8")


@REPEATABLE
@given(JUNK)
def test_junk_gives_faults_and_nothing_else(data: Any) -> None:
    is_job_or_faults(data)


@REPEATABLE
@given(st.dictionaries(NAMES, JUNK, max_size=6))
def test_junk_in_the_fields_of_the_file_gives_faults(fields: dict[str, Any]) -> None:
    is_job_or_faults(a_job(**fields))


@REPEATABLE
@given(st.data())
def test_junk_anywhere_in_a_good_job_gives_faults(data: st.DataObject) -> None:
    job = copy.deepcopy(FULL_JOB)
    for _ in range(data.draw(st.integers(1, 3))):
        inside: Any = job
        while True:
            keys = (
                list(inside) if isinstance(inside, dict) else list(range(len(inside)))
            )
            if not keys:
                break
            key = data.draw(st.sampled_from(keys))
            if isinstance(inside[key], dict | list) and data.draw(st.booleans()):
                inside = inside[key]
                continue
            inside[key] = data.draw(JUNK)
            break
        if isinstance(inside, dict) and data.draw(st.booleans()):
            inside[data.draw(NAMES)] = data.draw(JUNK)
    is_job_or_faults(job)


def test_the_good_job_that_is_bent_is_good() -> None:
    assert [shot.name for shot in parse_job(FULL_JOB).shots] == ["010", "020", "030"]


@pytest.mark.parametrize("field", field_names(ShotSpec))
def test_a_number_too_long_to_print_is_refused_in_any_field(field: str) -> None:
    job = a_job(a_shot(**{field: 10**5000}))
    with pytest.raises(JobError) as caught:
        parse_job(job)
    assert str(caught.value).startswith(f"shots[0].{field}")


def test_a_job_that_contains_itself_is_refused() -> None:
    job = a_job()
    job["world"]["up"] = job
    with pytest.raises(JobError, match="nested over 32 deep"):
        parse_job(job)


def test_field_names_that_are_no_text_are_refused() -> None:
    with pytest.raises(JobError, match=r"^field names must be text, got 7$"):
        parse_job(a_job(defaults={7: 1}))


def test_paths_and_values_stay_on_one_line() -> None:
    assert path_text("shots[3]", ("a b", "x\n", 0)) == 'shots[3]."a b"."x\\n"[0]'
    assert shown("\ud800\n\x85") == '"\\ud800\\n\\x85"'
    assert len(shown("x" * 5000)) < 80
