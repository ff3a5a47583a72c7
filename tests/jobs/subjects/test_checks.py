from fractions import Fraction

import numpy as np
import pytest
from numpy.testing import assert_array_equal
from subject_files import faults, faults_of, read, read_columns, reference, walk, write

FILE = "shots[2].subjects[0].file"
X = f"{FILE}: 'x.parquet'"
REMEDY = "correct the data, or raise limit_m_s of the subject where the step is right"


def test_frames_outside_the_table_are_frames_in_which_nobody_sees_the_subject(tmp_path):
    asked = {"first_frame": 993, "last_frame": 1120}
    track = read_columns(tmp_path, walk(), {}, **asked)
    assert_array_equal(track.frames, np.arange(993, 1121))
    inside = (track.frames >= 1001) & (track.frames <= 1110)
    assert_array_equal(track.visible, inside)
    assert not track.new[~inside].any()
    assert_array_equal(track.floor[:8], np.tile(track.floor[8], (8, 1)))
    assert_array_equal(track.floor[-10:], np.tile(track.floor[-11], (10, 1)))
    assert track.uncovered == ((993, 1000), (1111, 1120))


def test_a_table_that_reaches_both_ends_is_read_as_it_is(tmp_path):
    track = read_columns(tmp_path, walk(), {})
    assert track.visible.all()
    assert track.uncovered == ()


def test_a_table_in_seconds_is_continued_at_its_own_pace(tmp_path):
    columns = walk()
    seconds = columns.pop("frame") / 24
    write(tmp_path / "x.parquet", columns | {"time_s": seconds})
    track = read(
        reference(file="x.parquet"), tmp_path, rate=Fraction(24), last_frame=1115
    )
    assert_array_equal(track.frames[-6:], np.arange(1110, 1116))
    assert track.uncovered == ((1111, 1115),)


@pytest.mark.parametrize("span", [(2001, 2010), (1, 900)])
def test_frames_of_another_shot_are_named(tmp_path, span):
    (line,) = faults_of(tmp_path, walk(), first_frame=span[0], last_frame=span[1])
    asks = f"shots[2].frames: asks for {span[0]}-{span[1]}, 'x.parquet' has 1001-1110;"
    assert line.startswith(asks)


def test_only_the_frames_asked_for_are_kept_and_judged(tmp_path):
    columns = walk(900, 1200)
    columns["x"][:50] = np.nan
    columns["y"][-20:] = 1e9
    track = read_columns(tmp_path, columns, {})
    assert_array_equal(track.frames, np.arange(1001, 1111))


def test_unsorted_and_repeated_frames_are_named(tmp_path):
    columns = walk()
    columns["frame"][[42, 43]] = columns["frame"][[43, 42]]
    columns["frame"][70] = columns["frame"][69]
    assert faults_of(tmp_path, columns) == [
        f"{X} frame 1043 comes after 1044",
        f"{X} frame 1070 is there twice",
    ]


def test_every_kind_of_bad_value_is_named_with_its_first_frame(tmp_path):
    columns = walk()
    columns["x"][[20, 30]] = np.nan
    columns["y"][25] = np.inf
    columns["z"][40] = -3e7
    columns["facing_deg"] = np.full(110, 10.0)
    columns["facing_deg"][50] = np.inf
    assert faults_of(tmp_path, columns) == [
        f"{X} x, y, z is not a number at frame 1021 (and 2 more)",
        f"{X} x, y, z is 30000 km out at frame 1041, limit 10000 km",
        f"{X} facing_deg is not a number at frame 1051",
    ]


def test_far_coordinates_are_judged_in_metres(tmp_path):
    columns = walk()
    columns["z"] += 2e7
    track = read_columns(tmp_path, columns, {}, metres_per_unit=0.01)
    assert np.all(track.floor[:, 2] > 1.9e5)


def test_empty_cells_are_no_numbers(tmp_path):
    columns = walk()
    columns["x"] = [None if k == 5 else float(v) for k, v in enumerate(columns["x"])]
    assert faults_of(tmp_path, columns) == [
        f"{X} x, y, z is not a number at frame 1006"
    ]
    columns = walk()
    columns["frame"] = [None if f == 1003 else int(f) for f in columns["frame"]]
    columns["visible"] = [True] * 9 + [None] * 101
    assert faults_of(tmp_path, columns) == [
        f"{X} has no 'frame' in row 3",
        f"{X} has no 'visible' in row 10",
    ]


def test_a_frame_number_out_of_reach_is_named(tmp_path):
    columns = walk()
    columns["frame"] = columns["frame"].astype(np.uint64)
    columns["frame"][109] = 2**63
    assert faults_of(tmp_path, columns) == [
        f"{X} has frame 9223372036854775808, limit 1000000000"
    ]
    columns = walk()
    columns["frame"][0] = -(2**63)
    assert faults_of(tmp_path, columns) == [
        f"{X} has frame -9223372036854775808, limit 1000000000"
    ]


def test_a_first_frame_that_is_missing_is_one_in_which_nobody_is_seen(
    tmp_path,
):
    columns = walk(990, 1110)
    columns = {name: np.delete(values, 11) for name, values in columns.items()}
    track = read_columns(tmp_path, columns, {})
    assert track.frames[0] == 1001
    assert not track.visible[0]
    assert track.visible[1:].all()


def test_a_hidden_first_frame_takes_the_next_place_that_is_known(tmp_path):
    columns = walk() | {"visible": np.arange(110) > 4}
    track = read_columns(tmp_path, columns, {})
    assert not track.new[:5].any()
    columns["x"][0] = np.nan
    held = read_columns(tmp_path, columns, {})
    assert_array_equal(held.floor[0], held.floor[1])
    assert not held.new[:5].any()


def test_a_pop_is_named_with_its_speed_and_frames(tmp_path):
    columns = walk()
    # On top of the walk's 1.4 m/s: 1.66 m in one frame of 1001/24000 s.
    columns["x"][43:] += 1.66
    (line,) = faults_of(tmp_path, columns)
    speed = np.hypot(1.66 + 1.4 / 24, np.diff(columns["z"])[42]) * 24000 / 1001
    said = f"{X} moves {speed:.3g} m/s between 1043 and 1044, limit 15 m/s; "
    assert line == said + REMEDY
    assert "41.2 m/s" in line


def test_a_pop_inside_the_subjects_own_limit_is_none(tmp_path):
    columns = walk()
    columns["x"][43:] += 1.66
    track = read_columns(tmp_path, columns, {"limit_m_s": 42})
    assert track.new.all()


def test_many_pops_are_counted(tmp_path):
    columns = walk()
    columns["y"] = np.where(np.arange(110) % 10 == 9, 2.0, 0.0)
    lines = faults_of(tmp_path, columns)
    assert len(lines) == 5
    # Eleven spikes, the last at the end: 21 steps.
    assert lines[-1].endswith("(and 16 more)")
    assert "between 1029 and 1030, limit 15 m/s; " in lines[-1]


def test_a_jump_while_hidden_is_no_pop(tmp_path):
    columns = walk() | {"visible": np.ones(110, dtype=bool)}
    columns["visible"][43] = False
    columns["x"][43:] += 3.0
    assert read_columns(tmp_path, columns, {}).visible.sum() == 109


def test_held_keys_do_not_double_the_speed(tmp_path):
    columns = walk()
    on_twos = np.arange(110) // 2 * 2
    columns |= {"x": 0.4 * on_twos, "y": np.zeros(110), "z": np.zeros(110)}
    # 0.8 m every second frame is 9.6 m/s, and 19.2 m/s if judged frame by frame.
    track = read_columns(tmp_path, columns, {})
    assert track.new.sum() == 55
    write(tmp_path / "x.parquet", columns)
    lines = faults(reference(file="x.parquet", holds="keep"), tmp_path)
    assert "moves 19.2 m/s between 1002 and 1003" in lines[0]


@pytest.mark.parametrize("hold", [6, 12])
def test_stepped_blocking_of_a_walk_is_no_pop(tmp_path, hold):
    held = np.arange(110) // hold * hold
    columns = walk() | {"x": 1.3 / 24 * held, "y": np.zeros(110), "z": np.zeros(110)}
    read_columns(tmp_path, columns, {})


def test_a_pop_of_who_has_stood_is_named(tmp_path):
    columns = walk() | {"x": np.zeros(110), "y": np.zeros(110), "z": np.zeros(110)}
    columns["x"][60:] = 3.0
    write(tmp_path / "x.parquet", columns)
    lines = faults(reference(file="x.parquet"), tmp_path)
    assert "moves 71.9 m/s between 1060 and 1061" in lines[0]


@pytest.mark.parametrize("value", ["inf", "1e300", "-1e400", "nan"])
def test_no_wild_number_of_a_csv_table_passes(tmp_path, value):
    rows = [
        f"{frame},0,{value if frame == 1060 else 1},0" for frame in range(1001, 1111)
    ]
    (tmp_path / "x.csv").write_text("frame,x,y,z\n" + "\n".join(rows) + "\n")
    lines = faults(reference(file="x.csv"), tmp_path)
    assert all("1060" in line for line in lines)


def test_faults_come_one_stage_at_a_time(tmp_path):
    columns = walk()
    columns["frame"][[3, 4]] = columns["frame"][[4, 3]]
    columns["x"][20] = np.nan
    assert faults_of(tmp_path, columns) == [f"{X} frame 1004 comes after 1005"]


def test_a_table_in_frames_and_seconds_goes_by_frames(tmp_path):
    columns = walk() | {"time_s": np.zeros(110)}
    write(tmp_path / "a.arrow", columns)
    track = read(reference(file="a.arrow"), tmp_path)
    assert track.frames[-1] == 1110


def test_seconds_beside_frames_may_be_anything(tmp_path):
    track = read_columns(tmp_path, walk() | {"time_s": ["noon"] * 110}, {})
    assert len(track.frames) == 110


@pytest.mark.parametrize("late_frames", [0.02, 0.3])
def test_seconds_rounded_to_the_millisecond_still_cover_their_frames(
    tmp_path, late_frames
):
    columns = walk()
    seconds = (columns.pop("frame") + late_frames) / 24
    write(tmp_path / "x.parquet", columns | {"time_s": seconds})
    asked = {"rate": Fraction(24)}
    track = read(reference(file="x.parquet"), tmp_path, **asked)
    assert track.frames[0] == pytest.approx(1001 + late_frames)
    assert track.uncovered == ()
