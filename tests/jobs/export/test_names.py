"""Names of delivered cameras: filled in, plain, one each, and never a way out."""

from dataclasses import replace

import pytest
from export_takes import delivered

from carrellata.jobs.errors import JobError
from carrellata.jobs.export.names import DEFAULT_PATTERN, names_of, prim_name


@pytest.fixture(scope="module")
def curves():
    one = delivered(rig="sticks").curves
    return [one, replace(one, shot="020"), replace(one, shot="030-b")]


def test_a_pattern_is_filled_in(curves):
    assert names_of(DEFAULT_PATTERN, curves) == [
        "chase_010_cam",
        "chase_020_cam",
        "chase_030-b_cam",
    ]
    version = curves[0].take_key[:8]
    assert names_of("{shot}-v{version}", curves)[0] == f"010-v{version}"


@pytest.mark.parametrize(
    "pattern",
    [
        "../{shot}",
        "a/{shot}",
        "/{shot}",
        ".{shot}",
        "{shot}\\x",
        "{shot}\0",
        "{shot} cam",
        "",
        "é{shot}",
        "{shot}" + "x" * 128,
    ],
)
def test_what_is_no_plain_name_is_refused(curves, pattern):
    with pytest.raises(JobError, match="must give letters") as caught:
        names_of(pattern, curves)
    assert caught.value.faults[0].path == "--names"


@pytest.mark.parametrize(
    "pattern",
    ["{shot.__class__}", "{shot[0]}", "{shot!r}", "{shot:>9}", "{}", "{0}", "{other}"],
)
def test_other_fields_are_refused(curves, pattern):
    with pytest.raises(JobError, match="has the fields"):
        names_of(pattern, curves)


def test_a_broken_pattern_is_refused(curves):
    with pytest.raises(JobError, match="is not a pattern"):
        names_of("{shot", curves)


@pytest.mark.parametrize("second", ["0_10", "0-10"])
def test_two_shots_of_one_name_are_refused(curves, second):
    pair = [replace(curves[0], shot="0-10"), replace(curves[0], shot=second)]
    with pytest.raises(JobError, match="more than one shot"):
        names_of("{shot}", pair)


def test_letter_case_does_not_tell_shots_apart(curves):
    pair = [replace(curves[0], shot="a"), replace(curves[0], shot="A")]
    with pytest.raises(JobError, match='the name "a"'):
        names_of("{shot}", pair)


def test_prims_have_no_dash_and_no_leading_digit():
    assert prim_name("010-b") == "_010_b"
    assert prim_name("seq_010") == "seq_010"
