"""The ends of studied cameras against those of the takes that they are."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from studied import FOCAL_MM, RATE, camera_of, taken

from carrellata.solver.cuts.continuity import CutShot, cut_findings
from carrellata.solver.cuts.end import shot_ends
from carrellata.solver.cuts.lines import lines_of
from carrellata.solver.studies.camera import angles_of
from carrellata.solver.studies.cuts import studied_ends
from carrellata.solver.studies.framing import study_framing


def ends_of(known, size="full"):
    subject = known.shot.subjects[0]
    framed = study_framing(known.camera, subject, size)
    return studied_ends(known.camera, subject, framed, rate=RATE, focal_mm=FOCAL_MM)


def cut(*ends):
    shots = [
        CutShot(name=f"{k}", scene="main", elapsed=False, ends=one)
        for k, one in enumerate(ends)
    ]
    return [{one.name: one for one in found} for found in cut_findings(shots)]


@pytest.mark.parametrize("rig", ["sticks", "track"])
def test_a_studied_take_ends_as_the_take_does(rig):
    known = taken("referee_turns", rig)
    true = shot_ends(known.take)
    found = ends_of(known)
    for one, two in ((found.first, true.first), (found.last, true.last)):
        assert one.frame == two.frame
        assert one.place == pytest.approx(two.place)
        assert one.velocity == pytest.approx(two.velocity)
        assert one.lens == pytest.approx(two.lens, abs=2e-3)
        assert (one.u, one.v) == pytest.approx((two.u, two.v), abs=5e-3)
        assert one.size == pytest.approx(two.size, rel=5e-3)
        assert one.across_m_s == pytest.approx(two.across_m_s, abs=0.02)
        assert one.line == two.line
        lines = [lines_of(end)[end.subject] for end in (one, two)]
        assert lines[0].side(one.lens) == lines[1].side(two.lens)
        assert one.span == two.span == "full"


def test_a_cut_to_the_same_camera_adds_nothing_and_the_first_has_no_cut():
    ends = ends_of(taken("referee_turns", "sticks"))
    first, second = cut(ends, replace(ends, first=ends.last))
    assert "adds_nothing" not in first
    assert second["adds_nothing"].numbers["turn_deg"] < 1.0


def test_a_camera_beyond_the_line_is_a_fault():
    known = taken("referee_turns", "sticks")
    ends = ends_of(known)
    middle = known.shot.subjects[0].floor[:, 2].mean()
    x, y, z = known.camera.place.T
    beyond = np.column_stack([x, y, 2 * middle - z])
    pan, tilt = np.pi - known.camera.pan, known.camera.tilt
    camera = camera_of(
        known.camera.times_s, beyond, np.stack([pan, tilt, 0 * pan]), noise_deg=0.0
    )
    other = ends_of(known._replace(camera=camera))
    _, found = cut(ends, replace(other, first=other.last))
    assert found["crosses_line"].severity == "fault"


def test_a_camera_behind_which_the_subject_is_has_no_place_on_screen():
    known = taken("referee_turns", "sticks")
    pan = known.camera.pan + np.pi
    turned = np.stack([pan, known.camera.tilt, 0 * pan])
    camera = camera_of(known.camera.times_s, known.camera.place, turned)
    found = ends_of(known._replace(camera=camera))
    assert found.first.u is None
    assert found.first.size is None


def test_the_whole_frames_of_a_camera_at_another_rate_are_its_ends():
    known = taken("referee_turns", "sticks", resampled_hz=30.0)
    found = ends_of(known)
    assert found.first.frame == known.shot.first
    assert known.shot.last - 1 <= found.last.frame <= known.shot.last


def test_a_camera_between_two_frames_has_no_ends():
    known = taken("referee_turns", "sticks")
    times = 0.01 + np.linspace(0, 0.02, 10)
    place = np.repeat(known.camera.place[:1], 10, axis=0)
    angles = np.stack(angles_of(known.take.turn))[:, :10]
    camera = camera_of(times, place, angles)
    subject = known.shot.subjects[0]
    framed = study_framing(camera, subject, "full")
    assert (
        studied_ends(camera, subject, framed, rate=Fraction(24), focal_mm=50.0) is None
    )
