from fractions import Fraction

import numpy as np
import pybvh
import pytest
from motion import CMU_METRES_PER_UNIT, cmu_file, cmu_jumps
from numpy.testing import assert_allclose, assert_array_equal
from subject_files import HEIGHT_M, faults, read, reference

from carrellata.jobs.subjects.bvh import joint_places, snapped_rate
from carrellata.jobs.subjects.bvh_tree import parse_bvh
from carrellata.jobs.subjects.source import source_of_file
from carrellata.solver.action.body import LANDMARKS

FILE = "shots[2].subjects[0].file"
JUMPS = {"file": "01_01.bvh", "at": "hips", "up": "y", "first_sample_at": 1001}

STICK = """HIERARCHY
ROOT base
{
  OFFSET 10 20 30
  CHANNELS 6 Xposition Yposition Zposition Zrotation Xrotation Yrotation
  JOINT hips
  {
    OFFSET 0 1 0
    CHANNELS 3 Xrotation Yrotation Zrotation
    JOINT left hand
    {
      OFFSET 2 0 0
      CHANNELS 6 Xposition Yposition Zposition Zrotation Xrotation Yrotation
      End Site
      {
        OFFSET 0 1 0
      }
    }
  }
}
MOTION
Frames: 3
Frame Time: 0.0416667
"""
ROWS = [
    "0 0 0 0 0 0  0 0 0  5 0 0 0 0 0",
    "1 2 3 90 0 0  0 0 0  5 0 0 0 0 0",
    "1 2 3 90 0 0  0 0 90  5 6 0 0 0 0",
]


@pytest.fixture
def stick(tmp_path):
    def written(text=STICK, rows=ROWS):
        (tmp_path / "stick.bvh").write_text(text + "\n".join(rows) + "\n")
        return tmp_path

    return written


def stick_reference(**fields):
    given = {"file": "stick.bvh", "units": "m", "up": "y", "first_sample_at": 1001}
    return reference(**(given | {"limit_m_s": 1000} | fields))


def stick_places(folder, joint):
    source = source_of_file("stick.bvh", folder=folder, path="s")
    return joint_places(parse_bvh(source), joint)


def stick_faults(folder, **fields):
    asked = {"first_frame": 1001, "last_frame": 1003}
    return faults(stick_reference(**fields), folder, **asked)


@pytest.mark.parametrize("trial", ["01_01.bvh", "01_03.bvh"])
def test_every_joint_is_where_an_independent_reader_puts_it(trial):
    """Against pybvh 0.9, file units, on two trials of the CMU database."""
    theirs = pybvh.read_bvh_file(cmu_file(trial), world_up="+y")
    places = theirs.joint_positions()
    source = source_of_file(trial, folder=cmu_file(trial).parent, path="s")
    motion = parse_bvh(source)
    assert [joint.name for joint in motion.joints] == theirs.joint_names
    assert len(motion.joints) == places.shape[1] > 30
    for k in range(len(motion.joints)):
        assert_allclose(joint_places(motion, k), places[:, k], rtol=0, atol=1e-5)
    assert motion.frame_time_s == pytest.approx(1 / 120, rel=1e-5)


def test_the_root_of_a_trial_is_its_channels_on_every_fifth_of_a_frame():
    fps, points = cmu_jumps()
    spec = reference(**JUMPS, units="in")
    track = read(spec, cmu_file("01_01.bvh").parent, first_frame=1001, last_frame=1551)
    hips = track.floor + np.array([0.0, LANDMARKS["hips"] * HEIGHT_M, 0.0])
    assert_allclose(hips / 0.0254, points[:2751] / CMU_METRES_PER_UNIT, atol=1e-6)
    assert_allclose(track.frames, 1001 + np.arange(2751) / 5, atol=1e-9)
    assert_allclose(track.times_s, track.frames * 1001 / 24000)
    # The trial repeats its first pose.
    assert_array_equal(np.flatnonzero(~track.new), [1])
    assert fps == pytest.approx(120, abs=1e-3)


def test_a_z_up_file_comes_in_with_y_up(stick):
    folder = stick(rows=["1 2 3" + " 0" * 12, "4 5 6" + " 0" * 12, "1 2 3" + " 0" * 12])
    track = read(stick_reference(up="z"), folder, last_frame=1003)
    assert_allclose(track.floor[:2], [[1, 3, -2], [4, 6, -5]])


def test_places_follow_from_the_turns_by_hand(stick):
    """Root channels replace its OFFSET, a joint's own position channels too."""
    folder = stick()
    assert_allclose(stick_places(folder, 0), [[0, 0, 0], [1, 2, 3], [1, 2, 3]])
    # A quarter turn about Z takes the hips' +Y to -X.
    assert_allclose(stick_places(folder, 1)[1], [0, 2, 3], atol=1e-12)
    # left hand: +X becomes +Y; then the hips' own quarter turn makes (5, 6) (-6, 5).
    assert_allclose(stick_places(folder, 2)[1], [0, 7, 3], atol=1e-12)
    assert_allclose(stick_places(folder, 2)[2], [-5, -4, 3], atol=1e-12)


def test_rotations_multiply_in_the_order_of_the_channels(stick):
    """Z then X: +Y of the child goes by X to +Z first, which Z leaves alone."""
    folder = stick(rows=["0 0 0 90 90 0" + " 0" * 9] * 3)
    assert_allclose(stick_places(folder, 1)[0], [0, 0, 1], atol=1e-12)


def test_a_joint_is_named_by_its_whole_name(stick):
    folder = stick()
    track = read(stick_reference(joint="left hand"), folder, last_frame=1003)
    assert_allclose(track.floor[0], [5, 1, 0], atol=1e-12)


def test_a_static_root_is_refused_with_a_joint_to_name(stick):
    rows = [f"0 0 0 0 0 0  0 0 {k}  5 0 0 0 0 0" for k in range(3)]
    folder = stick(rows=rows)
    assert stick_faults(folder) == [
        f"{FILE}: 'stick.bvh' has a root that does not move, "
        "name the joint that carries the body (left hand)"
    ]
    assert stick_faults(folder, joint="base") == [
        f"{FILE}: 'stick.bvh' has a joint \"base\" that does not move, "
        "name the joint that carries the body (left hand)"
    ]


def test_an_unknown_joint_is_refused_with_the_nearest_name(stick):
    assert stick_faults(stick(), joint="hip") == [
        f"{FILE}: 'stick.bvh' has no joint 'hip', did you mean 'hips'"
    ]
    assert stick_faults(stick(), joint="tail") == [
        f"{FILE}: 'stick.bvh' has no joint 'tail', only base, hips, left hand"
    ]


def test_unit_axis_and_first_frame_are_all_asked_for(stick):
    lines = stick_faults(stick(), units=None, up=None, first_sample_at=None)
    subject = "shots[2].subjects[0]"
    assert lines == [
        f"{subject}.units: must say the unit of length of 'stick.bvh'",
        f"{subject}.up: must say the up axis of 'stick.bvh'",
        f"{subject}.first_sample_at: must say the shot's frame of the first sample "
        "of 'stick.bvh'",
    ]


@pytest.mark.parametrize(
    ("frame_time", "rate"),
    [
        ("0.0416667", Fraction(24)),
        ("0.041708", Fraction(24000, 1001)),
        ("0.0417083", Fraction(24000, 1001)),
        ("0.04", Fraction(25)),
        ("0.033333", Fraction(30)),
        ("0.0333667", Fraction(30000, 1001)),
        ("0.0166833", Fraction(60000, 1001)),
        ("0.0083333", Fraction(120)),
        ("0.0083417", Fraction(120000, 1001)),
        ("0.0417", None),
        ("0.0333", None),
        ("7.0", None),
    ],
)
def test_a_rounded_frame_time_gives_the_exact_rate(frame_time, rate):
    assert snapped_rate(float(frame_time)) == rate


def test_a_frame_time_that_is_no_rate_needs_one_from_the_job(stick):
    folder = stick(STICK.replace("0.0416667", "0.0417"))
    assert stick_faults(folder) == [
        f"{FILE}: 'stick.bvh' has Frame Time 0.0417 s, "
        "no whole or 1000/1001 rate; say rate"
    ]
    track = read(stick_reference(rate="24"), folder, last_frame=1003)
    assert_array_equal(track.frames, [1001, 1002, 1003])


@pytest.mark.parametrize("job_rate", ["24", "24000/1001"])
@pytest.mark.parametrize("rate", ["24", "24000/1001", "48", "120000/1001"])
def test_no_pair_of_rates_is_off_by_1000_over_1001(stick, rate, job_rate):
    folder = stick()
    track = read(
        stick_reference(rate=rate),
        folder,
        rate=Fraction(job_rate),
        last_frame=1001,
    )
    steps = {"24": 1, "24000/1001": 1, "48": 0.5, "120000/1001": 0.2}
    assert_array_equal(track.frames[:1], [1001])
    many = stick(
        STICK.replace("Frames: 3", "Frames: 600"),
        [f"{k / 100} 0 0" + " 0" * 12 for k in range(600)],
    )
    track = read(
        stick_reference(rate=rate), many, rate=Fraction(job_rate), last_frame=1101
    )
    assert_allclose(np.diff(track.frames), steps[rate], atol=1e-9)


@pytest.mark.parametrize(
    ("old", "new", "rule"),
    [
        ("HIERARCHY", "TREE", "needs the sections HIERARCHY and MOTION"),
        ("MOTION", "", "needs the sections HIERARCHY and MOTION"),
        ("Frames: 3", "Frames: many", "needs 'Frames:' and 'Frame Time:' after MOTION"),
        ("Frames: 3", "Frames: 0", "has no samples"),
        ("Frames: 3", "Frames: 4", "says Frames: 4 and has 3"),
        ("0.0416667", "0", "Frame Time must be above 0 s, got 0"),
        ("0.0416667", "nan", "needs 1 numbers where it has 'nan'"),
        ("OFFSET 0 1 0", "OFFSET 0 1", "needs 3 numbers where it has '0 1'"),
        ("CHANNELS 3", "CHANNELS 4", "line 9 has no valid list of channels"),
        ("Zrotation Xrotation", "Zturn Xturn", "line 5 has no valid list of channels"),
        ("  End Site", "  Leaf", "line 14 is out of place: 'Leaf'"),
        ("ROOT base", "JOINT base", "line 2 is out of place: 'JOINT base'"),
        ("}\nMOTION", "MOTION", "has a tree of joints that is not closed"),
        ("1 2 3 90", "1 2 90", "has a row that cannot be read"),
        ("1 2 3 90", "1 2 three 90", "has a row that cannot be read"),
        ("0 0 0 0 0 0  0", "0 0 0 0 0 0", "has not 15 values, one a channel"),
    ],
)
def test_text_that_breaks_the_format_is_refused(tmp_path, old, new, rule):
    text = (STICK + "\n".join(ROWS) + "\n").replace(old, new, 1)
    assert text.count(new) or not new
    (tmp_path / "stick.bvh").write_text(text)
    (line,) = stick_faults(tmp_path)
    assert line.startswith(f"{FILE}: 'stick.bvh' {rule}")


@pytest.mark.parametrize(("old", "new"), [("2", "nan"), ("90", "inf"), ("2", "1e999")])
def test_a_value_that_is_no_number_is_named_by_its_frame(stick, old, new):
    folder = stick(rows=[ROWS[0], ROWS[1].replace(old, new), ROWS[2]])
    assert stick_faults(folder, joint="hips") == [
        f"{FILE}: 'stick.bvh' x, y, z is not a number at frame 1002"
    ]


def test_more_samples_than_fit_are_refused_before_they_are_read(stick):
    folder = stick(STICK.replace("Frames: 3", "Frames: 99999999"))
    assert stick_faults(folder) == [
        f"{FILE}: 'stick.bvh' has 99999999 rows, limit 20000000"
    ]
