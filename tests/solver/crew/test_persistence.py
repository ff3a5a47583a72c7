"""How long a velocity is believed to last, and which model of heights is believed."""

import numpy as np
import pytest
from shots import RATE, acted, bouncing, walk

from carrellata.solver.crew.observe import believe
from carrellata.solver.crew.persistence import EVEN_S, believe_fades
from carrellata.solver.presets import PRESETS

TICKS = np.arange(192) / 24
BRISK = PRESETS["brisk"].operator


def lasts(speed, steady=4.0, least=0.6):
    """How long a velocity (n,) along one axis is believed to last at the ticks."""
    velocity = np.column_stack([speed, 0 * speed])
    fades = np.empty(len(speed))
    believe_fades(TICKS, velocity, np.array([0]), steady, least, fades)
    return fades


def seen(path, seconds=8.0):
    person = acted(path, seconds, first=0)
    return person, believe(BRISK, (person,), person.times_s)


def test_an_even_velocity_lasts_and_standing_does_not():
    assert np.all(lasts(np.full(192, 1.4)) == EVEN_S)
    assert np.all(lasts(np.zeros(192)) == 0.6)


def test_a_velocity_lasts_its_size_over_the_rate_of_its_change():
    # Braking at 0.5 m/s^2 from 5 m/s, looked at over 0.6 s: 4 v / a.
    speed = 5.0 - 0.5 * TICKS
    assert lasts(speed)[20:] == pytest.approx(4.0 * speed[20:] / 0.5)
    assert lasts(np.where(TICKS < 4.0, 1.4, 0.05))[100] == 0.6


def test_only_what_was_believed_before_counts():
    speed = np.sin(TICKS)
    other = np.where(np.arange(192) > 100, 9.0, speed)
    assert np.array_equal(lasts(speed)[:101], lasts(other)[:101])


def test_a_climb_is_believed_within_a_second_and_to_go_on():
    climb = lambda t: np.outer(t, [1.0, 0.25, 0.0])  # noqa: E731
    person, believed = seen(climb)
    off = believed.place[0, :, 1, 1] - person.eyes[:, 1]
    assert np.abs(off[24:]).max() < 0.005
    assert believed.velocity[0, 24:, 1, 1] == pytest.approx(0.25, abs=0.01)
    assert believed.fades[0, 1, 24:].min() > 100.0
    assert believed.crest[0, 24:].max() < 0.003


@pytest.mark.parametrize("hz", [1.8, 2.5, 3.0])
def test_a_bounce_is_kept_out_of_heights_and_believed_as_a_crest(hz):
    person, believed = seen(bouncing(walk(3.0), hz=hz))
    late = TICKS > 2.0
    height = believed.place[0, : len(TICKS), 1, 1][late]
    true = person.eyes[: len(TICKS), 1][late]
    assert np.ptp(height) < 0.15 * np.ptp(true)
    crest = believed.crest[0, : len(TICKS)][late]
    assert np.median(crest) == pytest.approx(0.04, rel=0.3)


def test_who_does_not_bounce_has_no_crest():
    _, believed = seen(walk(1.4))
    assert float(RATE) == 24.0
    assert believed.crest.max() < 1e-6
