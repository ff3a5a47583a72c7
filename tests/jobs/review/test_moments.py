"""A finding is shown at the frame at which it is best seen."""

from types import SimpleNamespace
from typing import Any, cast

import numpy as np
from review_rows import finding, row

from carrellata.jobs.review.moments import moment_of, worst_row
from carrellata.jobs.review.rows import FindingRow
from carrellata.jobs.review.shown import Shown

GONE = np.nan


def shown() -> Shown:
    """Five frames: drifting most at 1, out at 3, hidden at 4, large at 2."""
    columns = {"subject_size": np.array([0.5, 0.5, 0.9, 0.5, GONE])}
    plain: dict[str, Any] = {
        "place": np.array([[0, 0], [-0.9, 0], [0, 0], [1.2, 0.0], [GONE, GONE]]),
        "asked": np.array([[0, 0], [0.9, 0], [0, 0], [0.6, 0.0], [0, 0.0]]),
        "column": columns.__getitem__,
    }
    return cast(Shown, SimpleNamespace(**plain))


def found(*names: str, **fields: Any) -> tuple[FindingRow, ...]:
    return row("010", *(finding(name, **fields) for name in names)).findings


def test_each_finding_has_its_own_frame() -> None:
    frames = {
        "subject_lost": 3,
        "size_not_kept": 2,
        "subject_hidden": 4,
        "refused_plans": 1,
    }
    for name, frame in frames.items():
        assert moment_of(found(name)[0], shown()) == frame


def test_worst_frame_is_that_of_the_worst_finding_or_of_the_widest_drift() -> None:
    assert worst_row(shown(), found("subject_lost")) == 3
    assert worst_row(shown(), ()) == 1
