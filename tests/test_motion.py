import motion
import numpy as np
import pytest


def top_speed(track):
    fps, points = track
    return np.linalg.norm(np.diff(points, axis=0), axis=1).max() * fps


def test_ten_stretches_of_football_hold_sprints_and_no_pop():
    stretches = motion.football_stretches()
    assert tuple(stretches) == motion.STRETCH_NAMES
    assert len(stretches) == 10
    speeds = {name: top_speed(track) for name, track in stretches.items()}
    assert max(speeds.values()) < 9.0
    assert speeds["sprint_fast"] > 7.0
    assert all(len(points) >= 200 for _, points in stretches.values())


def test_the_jumps_leave_the_ground():
    """Hips from 0.82 to 1.29 m, measured on the file."""
    fps, points = motion.cmu_jumps()
    assert points.shape == (2752, 3)
    assert points[:, 1].min() == pytest.approx(0.82, abs=0.01)
    assert points[:, 1].max() == pytest.approx(1.29, abs=0.01)
    assert top_speed((fps, points)) < 3.0


def test_half_a_match_is_half_measured():
    _, frames, points = motion.football_half()
    assert len(frames) == len(points) == 14516
    assert frames[-1] - frames[0] + 1 == 27422
    assert (np.diff(frames) > 0).all()


def test_a_minute_of_a_match_has_twenty_five_people():
    people = motion.hawkeye()
    assert len(people) == 25
    assert {len(points) for _, points in people.values()} == {3001}


def test_the_cycles_of_a_run_follow_without_a_seam():
    once = motion.deepmimic("run")
    chained = motion.deepmimic("run", 20)
    assert len(chained[1]) == 20 * (len(once[1]) - 1) + 1
    assert top_speed(chained) == pytest.approx(top_speed(once))


def test_missing_data_says_what_to_install(monkeypatch, tmp_path):
    monkeypatch.setattr(motion, "CMU_FOLDER", tmp_path)
    with pytest.raises(FileNotFoundError, match="install Debian package assimp-test"):
        motion.cmu_jumps()
    with pytest.raises(FileNotFoundError, match=r"install pybullet==3\.2\.7"):
        motion.deepmimic("moonwalk")
