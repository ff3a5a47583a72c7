"""A subject as acted, read by kernels as `Subject.at` reads it."""

import numpy as np
import pytest
from shots import random_shot

from carrellata.solver.action.acted import (
    acted,
    acted_gap,
    acted_point,
    acted_sight,
    of_each,
    sample_before,
)


def people():
    for number in range(12):
        yield from random_shot(np.random.default_rng(number), number).subjects


def asked_times(person):
    """Times before, on, between and after the samples."""
    first, last = person.times_s[[0, -1]]
    within = np.random.default_rng(1).uniform(first - 0.5, last + 0.5, 200)
    return np.sort(np.concatenate([within, person.times_s]))


@pytest.mark.parametrize("fraction", [0.0, 0.55, 1.0])
def test_points_are_those_of_the_subject_to_the_bit(fraction):
    for person in people():
        who, times_s = acted(person), asked_times(person)
        found, before = np.full((len(times_s), 3), np.nan), -1
        for i, now in enumerate(times_s):
            before = sample_before(who.times_s, before, now)
            found[i] = acted_point(who, before, now, fraction)
        np.testing.assert_array_equal(found, person.at(times_s, fraction))


@pytest.mark.parametrize("fraction", [0.0, 0.55, 1.0])
def test_at_its_own_samples_a_subject_is_where_it_was_sampled(fraction):
    for person in people():
        times_s, floor, eyes = person.shown
        expected = floor + (eyes - floor) * fraction
        for own in (slice(None), slice(3, 9), slice(len(times_s) - 1, None)):
            points = person.at(times_s[own], fraction)
            np.testing.assert_array_equal(points, expected[own])
            points += 1.0  # it is the caller's own
        shifted = person.at(times_s[3:9] + 1e-3, fraction)
        assert not np.array_equal(shifted, expected[3:9])
        assert person.at(times_s[:0], fraction).shape == (0, 3)


def test_what_shows_a_subject_is_seen_or_new():
    for person in people():
        seen = person.visible | person.fresh
        np.testing.assert_array_equal(person.shown[0], person.times_s[seen])
        np.testing.assert_array_equal(person.shown[1], person.floor[seen])
        np.testing.assert_array_equal(person.shown[2], person.eyes[seen])
    assert any((~(person.visible | person.fresh)).any() for person in people())


def test_sight_is_bearing_and_rise_where_the_subject_is_primary():
    person = next(people())
    times_s = asked_times(person)
    n = len(times_s)
    mine = np.arange(n) % 3 > 0
    base = np.random.default_rng(2).normal(0, 5, (n, 3))
    bearing, rise = np.full(n, np.nan), np.full(n, np.nan)
    acted_sight(acted(person), times_s, mine, base, bearing, rise)
    d = person.at(times_s, 1.0) - base
    np.testing.assert_allclose(bearing[mine], np.arctan2(-d[:, 0], -d[:, 2])[mine])
    expected = np.arctan2(-d[:, 1], np.hypot(d[:, 0], d[:, 2]))
    np.testing.assert_allclose(rise[mine], expected[mine])
    assert np.isnan(bearing[~mine]).all()


def test_the_gap_is_the_least_of_floor_middle_and_eyes():
    for person in people():
        times_s = asked_times(person)
        base = np.random.default_rng(3).normal(0, 5, (len(times_s), 3))
        gaps = [
            np.linalg.norm(person.at(times_s, share) - base, axis=1)[5:150].min()
            for share in (0.0, 0.5, 1.0)
        ]
        found = acted_gap(acted(person), times_s, base, 5, 150)
        assert found == pytest.approx(min(gaps), rel=1e-15)


def test_every_subject_comes_with_its_samples():
    found = dict(of_each(np.array([2, 0, 0, 2, 2])))
    assert list(found) == [0, 2]
    np.testing.assert_array_equal(found[0], [False, True, True, False, False])
    np.testing.assert_array_equal(found[2], ~found[0])
    assert not list(of_each(np.array([], dtype=np.int64)))
