"""A studied take keeps of its subject what the take's own measures say."""

from dataclasses import replace

import numpy as np
import pytest
from studied import taken

from carrellata.solver.audit import lock_findings
from carrellata.solver.cuts.findings import shot_findings
from carrellata.solver.measures.measure import measure
from carrellata.solver.studies.framing import study_framing

SHARES = ("in_frame", "in_safe", "body_in_frame")


@pytest.mark.parametrize("clip", ["referee_turns", "sprint_long"])
@pytest.mark.parametrize("rig", ["sticks", "track"])
def test_shares_are_those_of_the_take(clip, rig):
    # Too slow for the action, so that it leaves the safe area and the frame.
    known = taken(clip, rig, operator={"max_speed": 0.08, "max_accel": 0.1})
    true = measure(known.take)
    found = study_framing(known.camera, known.shot.subjects[0], "full")
    for name in SHARES:
        assert getattr(found, name) == pytest.approx(true[name], abs=0.01), name
    assert true["in_safe"] < 1.0


def test_what_is_hidden_counts_neither_way():
    known = taken("referee_turns", "sticks")
    one = known.shot.subjects[0]
    late = one.times_s > known.camera.times_s[len(known.camera.times_s) // 2]
    away = one.floor + np.where(late[:, None], [50.0, 0.0, 0.0], 0.0)
    eyes = away + (one.eyes - one.floor)
    gone = replace(one, floor=away, eyes=eyes)
    hidden = replace(gone, visible=~late, fresh=~late)
    assert study_framing(known.camera, gone, "full").in_frame < 0.6
    found = study_framing(known.camera, hidden, "full")
    assert found.in_frame == pytest.approx(1.0)
    assert found.seen == pytest.approx(0.5, abs=0.02)


def test_a_take_that_lost_its_subject_is_as_grave_studied_as_locked():
    now = {"in_frame": 0.9, "head_in_frame": 0.9}
    (locked,) = lock_findings({"in_frame": 1.0, "head_in_frame": 1.0}, now)
    assert locked.severity == "fault"
    assert any(one.severity == "fault" for one in shot_findings(now))
