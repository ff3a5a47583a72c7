"""The table of mutants finds its lines, and the runner tells killed from alive."""

import pytest

from mutants.__main__ import chosen
from mutants.mutant import Mutant, StaleMutantError
from mutants.run import ALIVE, KILLED, LATE, LOST, Outcome
from mutants.table import MUTANTS


def test_every_mutant_is_found_once_in_its_file_and_changes_it():
    assert len(MUTANTS) >= 120
    assert len({one.name for one in MUTANTS}) == len(MUTANTS)
    for one in MUTANTS:
        assert one.new in one.source()
        assert one.tests


def test_a_line_that_is_gone_or_not_alone_is_refused():
    file = "solver/optics/lens.py"
    for old, new in (
        ("a line that never stood there", "another"),
        ("return", "yield"),
        ("_MM = 1e-3", "_MM = 1e-3"),
    ):
        with pytest.raises(StaleMutantError, match="must once"):
            Mutant(file, old, new, ("tests",)).source()


def test_only_a_failing_test_kills_and_only_the_equivalent_may_live():
    plain = MUTANTS[0]
    same = Mutant(plain.file, plain.old, plain.new, plain.tests, equivalent="a reason")
    assert Outcome(plain, KILLED, 0.0).good
    assert Outcome(plain, LATE, 0.0).good
    assert not Outcome(plain, ALIVE, 0.0).good
    assert not Outcome(plain, LOST, 0.0).good  # no test ran: the table is wrong
    assert Outcome(same, ALIVE, 0.0).good
    assert not Outcome(same, KILLED, 0.0).good


def test_the_sample_is_small_and_of_the_table():
    sample = chosen("sample", [])
    assert 8 <= len(sample) <= 16
    assert not any(one.compiled for one in sample)
    assert {one.name for one in sample} <= {one.name for one in MUTANTS}
    assert len(chosen("all", [])) == len(MUTANTS)
    assert len(chosen("plain", [])) + len(chosen("compiled", [])) == len(MUTANTS)
