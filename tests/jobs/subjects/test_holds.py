import numpy as np
import pytest
from motion import cmu_jumps, football_stretches
from numpy.testing import assert_array_equal

from carrellata.jobs.subjects.holds import (
    EVEN_HOLDS,
    HELD_M,
    MOST_HOLD_S,
    NO_SAMPLE,
    STANDING_S,
    left_s,
    new_samples,
    next_sample,
)


def seen(n):
    return np.ones(n, dtype=bool)


def slow_new_samples(times_s, positions, visible):
    new, start, before_s = [], 0, 0.0
    for k in range(len(positions)):
        held = k > 0 and visible[k] and visible[k - 1]
        held = held and np.abs(positions[k] - positions[k - 1]).max() <= HELD_M
        if not held and k > 0:
            lasted_s = times_s[k - 1] - times_s[start]
            before_s = lasted_s if lasted_s <= MOST_HOLD_S else 0.0
        start = start if held else k
        expected_s = max(STANDING_S, EVEN_HOLDS * before_s)
        standing = times_s[k] - times_s[start] > expected_s + 1e-9
        new.append(bool(visible[k]) and (not held or standing))
    return np.array(new)


@pytest.mark.parametrize("hold", [1, 2, 3, 4])
def test_one_sample_of_each_held_key_is_new(hold):
    fps, points = cmu_jumps()
    at_24 = points[5::5]
    held = np.repeat(at_24[::hold], hold, axis=0)
    new = new_samples(np.arange(len(held)) / 24, held, seen(len(held)))
    assert_array_equal(np.flatnonzero(new), np.arange(0, len(held), hold))
    assert fps == pytest.approx(120, abs=1e-3)


@pytest.mark.parametrize("hold", [5, 6, 8, 12])
def test_stepped_blocking_is_known_from_its_second_hold_on(hold):
    held = np.repeat(np.arange(8.0)[:, None] * [1.0, 0.0, 0.0], hold, axis=0)
    new = new_samples(np.arange(len(held)) / 24, held, seen(len(held)))
    assert new[:hold].sum() == hold - 3  # seen to stand after three repeats
    assert_array_equal(np.flatnonzero(new[hold:]), np.arange(0, len(held) - hold, hold))


def test_who_stands_after_stepped_blocking_is_seen_to_a_little_later():
    held = np.repeat(np.arange(4.0)[:, None] * [1.0, 0.0, 0.0], 12, axis=0)
    still = np.vstack([held, np.repeat(held[-1:], 36, axis=0)])
    new = new_samples(np.arange(len(still)) / 24, still, seen(len(still)))
    after = np.flatnonzero(new[37:])
    assert after[0] / 24 <= EVEN_HOLDS * MOST_HOLD_S
    assert new[37 + after[0] :].all()


def test_a_held_key_may_be_left_at_any_time_and_one_who_stands_only_at_the_end():
    points = np.zeros((40, 3))
    points[12:] = 1.0
    left = left_s(np.arange(40) / 24, points, seen(40))
    assert_array_equal(left[:24], np.repeat([0.0, 12 / 24], 12))
    assert left[-1] == 39 / 24


def test_standing_still_is_seen_again_once_no_held_key_lasts_as_long():
    points = np.vstack([np.arange(10.0), np.zeros(10), np.zeros(10)]).T
    still = np.vstack([points, np.repeat(points[-1:], 24, axis=0)])
    new = new_samples(np.arange(34) / 24, still, seen(34))
    assert_array_equal(np.flatnonzero(~new), [10, 11, 12])


def test_what_follows_never_changes_whether_a_sample_is_new():
    random = np.random.default_rng(5)
    for _ in range(200):
        points = np.repeat(random.normal(size=(12, 3)), random.integers(1, 7, 12), 0)
        times_s = np.arange(len(points)) / 24
        cut = int(random.integers(1, len(points)))
        whole = new_samples(times_s, points, seen(len(points)))
        part = new_samples(times_s[:cut], points[:cut], seen(cut))
        assert_array_equal(whole[:cut], part)


def test_a_hidden_sample_is_never_new_and_ends_a_run():
    positions = np.zeros((8, 3))
    visible = np.array([1, 1, 0, 1, 1, 1, 0, 0], dtype=bool)
    new = new_samples(np.arange(8) / 24, positions, visible)
    assert_array_equal(new, [1, 0, 0, 1, 0, 0, 0, 0])


def test_football_on_random_holds_agrees_with_a_plain_loop():
    random = np.random.default_rng(11)
    for fps, points in football_stretches().values():
        held = np.repeat(points, random.integers(1, 5, len(points)), axis=0)
        visible = random.random(len(held)) > 0.1
        times_s = np.arange(len(held)) / (2 * fps)
        expected = slow_new_samples(times_s, held, visible)
        assert 0.3 < expected.mean() < 0.95
        assert_array_equal(new_samples(times_s, held, visible), expected)


def test_a_sample_at_a_time_is_new_where_the_whole_track_says_so():
    rng = np.random.default_rng(5)
    for _ in range(60):
        n = int(rng.integers(2, 80))
        times = np.cumsum(rng.choice([1, 1, 1, 3], n)) / float(rng.choice([24, 60]))
        keys = rng.normal(0, 1, (n + 1, 3))
        positions = keys[np.cumsum(rng.random(n) < rng.uniform(0.05, 0.9))]
        visible = rng.random(n) < 0.9
        last, told = NO_SAMPLE, []
        for time, place, seen in zip(times, positions, visible, strict=True):
            last, new = next_sample(
                last, float(time), tuple(place.tolist()), visible=bool(seen)
            )
            told.append(new)
        assert told == new_samples(times, positions, visible).tolist()
