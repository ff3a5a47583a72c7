import numpy as np
import pytest
from motion import cmu_jumps, football_stretches
from numpy.testing import assert_array_equal

from carrellata.jobs.subjects.holds import new_samples


def seen(n):
    return np.ones(n, dtype=bool)


def slow_new_samples(times_s, positions, visible):
    """Oracle: walk through the samples, one run of equal ones at a time."""
    new, start = [], 0
    while start < len(times_s):
        end = start
        while (
            visible[start]
            and end + 1 < len(times_s)
            and visible[end + 1]
            and np.array_equal(positions[end + 1], positions[end])
        ):
            end += 1
        standing = times_s[end] - times_s[start] > 0.2 + 1e-9
        new += [
            bool(visible[k]) and (k == start or standing) for k in range(start, end + 1)
        ]
        start = end + 1
    return np.array(new)


@pytest.mark.parametrize("hold", [1, 2, 3, 4])
def test_one_sample_of_each_held_key_is_new(hold):
    fps, points = cmu_jumps()
    at_24 = points[5::5]
    held = np.repeat(at_24[::hold], hold, axis=0)
    new = new_samples(np.arange(len(held)) / 24, held, seen(len(held)))
    assert_array_equal(np.flatnonzero(new), np.arange(0, len(held), hold))
    assert fps == pytest.approx(120, abs=1e-3)


def test_standing_still_is_seen_on_every_frame():
    points = np.vstack([np.arange(10.0), np.zeros(10), np.zeros(10)]).T
    still = np.vstack([points, np.repeat(points[-1:], 24, axis=0)])
    new = new_samples(np.arange(34) / 24, still, seen(34))
    assert new.all()


def test_the_limit_between_held_and_standing_is_a_fifth_of_a_second():
    times_s = np.array([0.0, 0.1, 0.2, 0.3])
    positions = np.array([[0.0], [0.0], [0.0], [1.0]])
    assert_array_equal(new_samples(times_s, positions, seen(4)), [1, 0, 0, 1])
    late = times_s + np.array([0.0, 0.0, 0.001, 0.0])
    assert new_samples(late, positions, seen(4)).all()


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
