"""Quantities that a cut is judged by, at their bounds."""

import pytest
from ends import an_end, around, held

from carrellata.solver.cuts.continuity import CutShot, cut_findings
from carrellata.solver.cuts.rules import eye_travel


@pytest.mark.parametrize(("steps", "expected"), [(3.9, []), (4.1, ["size_jump"])])
def test_more_than_four_sizes_in_one_cut_are_a_jump(
    steps: float, expected: list[str]
) -> None:
    # Sizes apart by a half (our choice), at most four of them (common practice).
    ends = an_end(around(-90.0), fill=0.1), an_end(around(0.0), fill=0.1 * 1.5**steps)
    shots = [
        CutShot(name=name, scene="s", elapsed=False, ends=held(end))
        for name, end in zip(("010", "020"), ends, strict=True)
    ]
    assert [one.name for one in cut_findings(shots)[-1]] == expected


def test_who_leaves_the_frame_is_looked_for_at_its_edge() -> None:
    assert eye_travel(-3.0, 0.0, 0.95, 0.0, 2.39) == pytest.approx(1.95)
    assert eye_travel(0.0, -2.0, 0.0, 1.0, 2.0) == pytest.approx(1.0)
