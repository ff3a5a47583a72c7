import hashlib
from fractions import Fraction

import numpy as np
import pytest
from motion import deepmimic, football_half, football_stretches, hawkeye
from numpy.testing import assert_allclose, assert_array_equal
from subject_files import HEIGHT_M, RATE, read, read_columns, reference, walk, write

from carrellata.jobs.subjects import SubjectError
from carrellata.solver.action.body import EYES, LANDMARKS

UP = np.array([0.0, 1.0, 0.0])


def clip_columns(fps, points):
    return {
        "time_s": np.arange(len(points)) / fps,
        "x": points[:, 0],
        "y": points[:, 1],
        "z": points[:, 2],
    }


def test_a_z_up_scene_in_centimetres_comes_in_as_metres_y_up(tmp_path):
    columns = walk()
    scene = {"x": columns["x"] * 100, "y": -columns["z"] * 100, "z": columns["y"] * 100}
    inside = read_columns(tmp_path, columns, {})
    track = read_columns(tmp_path, columns | scene, {}, up="z", metres_per_unit=0.01)
    assert_allclose(track.floor, inside.floor, rtol=0, atol=1e-12)


def test_facing_along_the_walk_is_facing_along_the_walk_in_both_scenes(tmp_path):
    """0 looks along -Z (Y up) or +Y (Z up), counter-clockwise seen from above."""
    columns = walk() | {"facing_deg": np.full(110, 90.0)}
    for up in ("y", "z"):
        track = read_columns(tmp_path, columns, {}, up=up)
        angle = track.facing_rad[0]
        ahead = np.array([-np.sin(angle), 0.0, -np.cos(angle)])
        assert_allclose(ahead, [-1.0, 0.0, 0.0], atol=1e-12)


def test_facing_after_many_turns_is_facing(tmp_path):
    for turns_deg in (360.0e7, -360.0e12):
        columns = walk() | {"facing_deg": np.full(110, turns_deg + 90.0)}
        facing = read_columns(tmp_path, columns, {}).facing_rad
        assert_allclose(np.sin(facing), 1.0, atol=1e-12)
        assert np.abs(facing).max() < 2 * np.pi


def test_whole_frames_are_the_shots_frames_at_any_rate(tmp_path):
    for rate in (Fraction(24), RATE, Fraction(25)):
        track = read_columns(tmp_path, walk(), {}, rate=rate)
        assert_array_equal(track.frames, np.arange(1001, 1111))
        assert track.times_s[5] == pytest.approx(float(1006 / rate), abs=1e-12)
    spec = {"rate": "60", "first_sample_at": 17}
    track = read_columns(tmp_path, walk(), spec)
    assert track.frames[0] == 1001


@pytest.mark.parametrize("at", ["floor", "hips", "eyes", "head_top"])
def test_the_samples_are_where_the_reference_says_on_the_body(tmp_path, at):
    columns = walk()
    track = read_columns(tmp_path, columns, {"at": at})
    points = np.column_stack([columns["x"], columns["y"], columns["z"]])
    on_body = track.floor + LANDMARKS[at] * HEIGHT_M * UP
    assert_allclose(on_body, points, rtol=0, atol=1e-12)
    assert_allclose(track.eyes - track.floor, np.tile(EYES * HEIGHT_M * UP, (110, 1)))


def test_the_head_replaces_the_eyes_and_leaves_the_floor(tmp_path):
    columns = walk()
    head = {
        "head_x": columns["x"],
        "head_y": columns["y"] + 0.9,
        "head_z": columns["z"],
    }
    track = read_columns(tmp_path, columns | head, {"at": "floor"})
    assert_allclose(track.eyes[:, 1] - track.floor[:, 1], 0.9)


def test_missing_frames_are_hidden_and_bridged(tmp_path):
    columns = walk() | {"facing_deg": np.full(110, 5.0)}
    gone = {name: np.delete(values, range(30, 40)) for name, values in columns.items()}
    track = read_columns(tmp_path, gone, {})
    hidden = (track.frames >= 1031) & (track.frames <= 1040)
    assert_array_equal(track.frames, np.arange(1001, 1111))
    assert_array_equal(track.visible, ~hidden)
    assert_array_equal(track.new, ~hidden)
    assert_array_equal(np.isnan(track.facing_rad), hidden)
    start, end = columns["z"][29], columns["z"][40]
    assert track.floor[30, 2] == pytest.approx(start + (end - start) / 11)
    assert track.floor[39, 2] == pytest.approx(start + (end - start) * 10 / 11)


def test_hidden_rows_need_no_numbers_and_keep_them_if_they_have(tmp_path):
    columns = walk() | {"visible": np.ones(110, dtype=bool)}
    columns["visible"][50:60] = False
    truth = columns["x"].copy()
    columns["x"][53:56] = np.nan
    track = read_columns(tmp_path, columns, {})
    assert_array_equal(track.visible, columns["visible"])
    assert_allclose(track.floor[:, 0], truth, atol=1e-9)


def test_seconds_count_from_frame_zero_or_from_the_first_sample(tmp_path):
    columns = walk()
    seconds = columns.pop("frame") * 1001 / 24000
    track = read_columns(tmp_path, columns | {"time_s": seconds}, {})
    assert_array_equal(track.frames, np.arange(1001, 1111))
    moved = {"time_s": seconds - 3.7}
    track = read_columns(tmp_path, columns | moved, {"first_sample_at": 1001})
    assert_allclose(track.frames, np.arange(1001, 1111), atol=1e-9)


def test_seconds_of_another_clock_are_not_resampled_by_1000_over_1001(tmp_path):
    columns = walk()
    seconds = columns.pop("frame") / 24
    spec = {"rate": "24"}
    track = read_columns(tmp_path, columns | {"time_s": seconds}, spec)
    assert_array_equal(track.frames, np.arange(1001, 1111))


def test_samples_between_frames_reach_over_both_ends(tmp_path):
    fps, points = football_stretches()["sprint_fast"]
    columns = clip_columns(fps, points)
    track = read_columns(
        tmp_path,
        columns,
        {"first_sample_at": 1000, "limit_m_s": 20},
        first_frame=1101,
        last_frame=1200,
    )
    assert track.frames[0] <= 1101 < track.frames[1]
    assert track.frames[-2] < 1200 <= track.frames[-1]
    assert_allclose(track.times_s, track.frames * 1001 / 24000)
    first = round((track.times_s[0] - 1000 * 1001 / 24000) * fps)
    assert_allclose(track.floor, points[first : first + len(track.frames)], atol=1e-9)


def referee(folder, limit_m_s):
    """A referee, 45.7 minutes at 10 Hz, 53 % measured (SkillCorner open data, MIT)."""
    fps, frames, points = football_half()
    track = read_columns(
        folder,
        clip_columns(fps, points) | {"time_s": frames / fps},
        {"rate": "10", "holds": "keep", "limit_m_s": limit_m_s},
        rate=Fraction(10),
        first_frame=int(frames[0]),
        last_frame=int(frames[-1]),
    )
    return track, frames, points


def test_a_match_with_gaps_reads_with_what_was_measured(tmp_path):
    track, frames, points = referee(tmp_path, 31)
    assert_array_equal(track.frames, np.arange(frames[0], frames[-1] + 1))
    assert_array_equal(track.frames[track.visible], frames)
    assert_allclose(track.floor[track.visible], points, atol=1e-12)
    assert track.visible.mean() == pytest.approx(0.53, abs=0.01)


def test_the_one_pop_of_a_match_is_named(tmp_path):
    """3.08 m in a tenth of a second, in the data as they were published."""
    with pytest.raises(SubjectError, match=r"moves 30\.8 m/s between 1675 and 1676,"):
        referee(tmp_path, 30)


def test_a_gap_of_a_table_in_seconds_may_hold_the_first_frame(tmp_path):
    seconds = np.delete(np.arange(0.0, 10.0, 0.1), range(20, 40))
    columns = {"time_s": seconds, "x": seconds, "y": 0 * seconds, "z": seconds}
    asked = {"rate": Fraction(24), "last_frame": 200}
    track = read_columns(tmp_path, columns, {}, first_frame=60, **asked)
    assert track.frames[0] <= 60
    assert not track.visible[0]
    track = read_columns(tmp_path, columns, {}, first_frame=24, **asked)
    hidden = track.floor[~track.visible]
    assert_allclose(hidden[:, 0], np.arange(2.0, 3.95, 0.1), atol=1e-9)
    track = read_columns(
        tmp_path, columns, {}, rate=Fraction(24), first_frame=24, last_frame=60
    )
    assert 60 <= track.frames[-1] < 62.4
    assert not track.visible[-1]


@pytest.mark.parametrize("wild", [1e9, -1e300, np.inf, np.nan])
def test_no_wild_time_passes(tmp_path, wild):
    columns = walk()
    seconds = columns.pop("frame") / 24
    seconds[100] = wild
    with pytest.raises(SubjectError, match=r"time_s|frame"):
        read_columns(tmp_path, columns | {"time_s": seconds}, {"rate": "24"})


def test_a_gap_too_long_to_fill_is_refused(tmp_path):
    seconds = np.array([0.0, 1e-7, 2e-7, 3e-7, 4.0])
    columns = dict.fromkeys("xyz", 0 * seconds) | {"time_s": seconds}
    with pytest.raises(SubjectError, match="has gaps of"):
        read_columns(
            tmp_path, columns, {}, rate=Fraction(24), first_frame=0, last_frame=90
        )


def test_every_person_on_a_pitch_passes_the_speed_check(tmp_path):
    """25 people, 50 Hz, fastest step 7.7 m/s (owner of the data not stated)."""
    for name, (fps, points) in hawkeye().items():
        track = read_columns(
            tmp_path,
            clip_columns(fps, points),
            {"rate": "50", "limit_m_s": 8},
            rate=Fraction(25),
            first_frame=0,
            last_frame=1500,
        )
        assert len(track.frames) == 3001, name
        assert_allclose(track.floor, points, atol=1e-12)


def test_a_backflip_takes_the_floor_point_along(tmp_path):
    fps, points = deepmimic("backflip")
    track = read_columns(
        tmp_path,
        clip_columns(fps, points),
        {"at": "hips", "rate": "16"},
        rate=Fraction(16),
        first_frame=0,
        last_frame=28,
    )
    drop = LANDMARKS["hips"] * HEIGHT_M
    assert_allclose(track.floor, points - drop * UP, atol=1e-12)
    assert np.ptp(track.floor[:, 1]) > 0.3


def test_the_digest_is_of_the_bytes_that_were_read(tmp_path):
    path = write(tmp_path / "a.csv", walk())
    track = read(reference(file="a.csv"), tmp_path)
    assert track.digest == hashlib.sha256(path.read_bytes()).hexdigest()


def test_the_arrays_cannot_be_written(tmp_path):
    track = read_columns(tmp_path, walk(), {})
    for name in ("times_s", "frames", "floor", "eyes", "facing_rad", "new", "visible"):
        assert not getattr(track, name).flags.writeable, name
    assert (track.name, track.height_m) == ("courier", HEIGHT_M)
