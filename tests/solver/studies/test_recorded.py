"""A camera that other hands held: a recorded hand-held pose log.

TUM RGB-D, sequence freiburg1_xyz (CC BY 4.0, from memory): a camera held in the hand
and moved along its axes before a desk, tracked by motion capture, 30 s. It is read from
the source archive of a package that `deploy/test testdata` fetches.
"""

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation, Slerp
from shots import subject
from studied import camera_of

from carrellata.solver.studies.camera import angles_of
from carrellata.solver.studies.findings import study_findings
from carrellata.solver.studies.study import NOT_FOLLOWING, study

ROOT = Path(__file__).resolve().parents[3]
LOG = ROOT / ".venv/testdata/evo-1.38.1/test/data/freiburg1_xyz-groundtruth.txt"
RATE = Fraction(48)
Z_UP = Rotation.from_matrix([[1, 0, 0], [0, 0, 1], [0, -1, 0]])


@pytest.fixture(scope="module")
def recorded():
    """Even times, places and angles; an optical frame looks along +Z, Y down."""
    rows = np.loadtxt(LOG)
    rows = rows[np.unique(rows[:, 0], return_index=True)[1]]
    t = rows[:, 0] - rows[0, 0]
    even = np.arange(0, t[-1], 1 / float(RATE))
    turn = Slerp(t, Rotation.from_quat(rows[:, 4:8]))(even)
    camera = Z_UP * turn * Rotation.from_euler("x", 180, degrees=True)
    place = np.column_stack([np.interp(even, t, rows[:, k]) for k in (1, 2, 3)])
    ahead = camera.apply([0, 0, -1.0]).mean(axis=0)
    place = Z_UP.apply(place)
    desk = place.mean(axis=0) + 1.3 * ahead / np.linalg.norm(ahead)
    return even, place, np.stack(angles_of(camera.as_quat())), desk


def test_a_hand_held_log_is_no_rig_and_follows_nobody(recorded):
    times, place, angles, desk = recorded
    camera = camera_of(times, place, angles, noise_deg=0.0, focal_mm=35.0)
    still = np.repeat([desk - [0, 0.4, 0]], len(times) // 2 + 2, axis=0)
    thing = subject(still, Fraction(24), first=0, height_m=0.8)
    found = study(camera, thing, rate=RATE)
    assert found.verdict.kind == NOT_FOLLOWING
    assert found.path.kind == "free"
    assert set(found.path.moving) == {"pan", "tilt", "roll", "dolly"}
    assert found.path.wobble_m > 0.005
    assert {"no_simple_path", "not_following"} <= {
        one.name for one in study_findings(found)
    }


def test_its_places_spread_over_all_three_axes_as_the_sequence_is_named(recorded):
    _, place, _, _ = recorded
    assert (place.std(axis=0) > 0.05).all()
