"""Beliefs: the steady Kalman filter, what it may know, and at which sample rate."""

import numpy as np
import pytest
from numpy.testing import assert_array_equal
from scipy.linalg import expm, solve_continuous_lyapunov, solve_discrete_are

from carrellata.solver.crew.belief import (
    GAIT_HZ,
    STAND_S,
    TOLD,
    Samples,
    Watch,
    first_step_s,
    perceive_columns,
)
from carrellata.solver.crew.gains import (
    GAIT_DAMPING,
    SETTLE,
    Settled,
    settle,
    step_within,
    transition,
)

FOREVER_S = 1e9
STRIDE = 2 * np.pi * GAIT_HZ


def believed(times, points, ticks, **fields):
    """Place and velocity (k, 3) believed at `ticks`."""
    fields = {
        "fresh": np.ones(len(times), dtype=bool),
        "reaction": 0.25,
        "bandwidth": 12.0,
        "fade": 1.5,
        "gait": 1.0,
        "gait_hz": GAIT_HZ,
        "carry": True,
        "stands": False,
    } | fields
    place, velocity = np.empty((len(ticks), 3)), np.empty((len(ticks), 3))
    seen_s = times + fields["reaction"]
    samples = Samples(times, seen_s, points, fields.pop("fresh"))
    watch = Watch(**fields)
    settled = Settled(np.empty((4, 4)), np.empty(4))
    settle(first_step_s(samples.times, samples.fresh), watch, settled)
    columns = np.arange(3)
    told = np.empty((len(ticks), TOLD))
    perceive_columns(samples, columns, ticks, watch, settled, place, velocity, told)
    return place, velocity


def steps_of(dt, fade, bandwidth, gait):
    f, q = np.empty((4, 4)), np.empty((4, 4))
    transition(dt, Watch(0.0, bandwidth, fade, gait, GAIT_HZ, True, False), f, q)
    return f, q


def settled_gain(f, q, noise, gait):
    p, gain = np.diag([1.0, 1.0, gait, gait * STRIDE**2]), np.empty(4)
    for _ in range(SETTLE):
        step_within(p, f, q, noise, gain, *np.empty((2, 4, 4)))
    return gain


def riccati_gain(f, q, h, noise):
    """Gain of the steady filter by an outside Riccati solver."""
    p = solve_discrete_are(f.T, h[:, None], q, np.array([[noise]]))
    return p @ h / (h @ p @ h + noise)


def motion_model(fade, bandwidth, gait):
    """Drift and noise density of the documented continuous model."""
    drift = np.zeros((4, 4))
    drift[0, 1] = 1.0
    drift[1, 1] = -1.0 / fade
    drift[2, 3] = 1.0
    drift[3, 2:] = -(STRIDE**2), -2 * GAIT_DAMPING * STRIDE
    # White noise on o' that keeps the variance of o at `gait`.
    push = 4 * GAIT_DAMPING * STRIDE**3 * gait
    return drift, np.diag([0.0, bandwidth**4, 0.0, push])


def runner(times):
    """A point (n, 3) that runs, turns, and bounces a little."""
    return np.column_stack(
        [
            3.0 * times + 0.8 * np.sin(1.3 * times),
            0.9 + 0.03 * np.sin(STRIDE * times),
            2.0 * np.cos(0.7 * times),
        ]
    )


@pytest.mark.parametrize("fade", [0.8, 3.0, 5.0, 1e3])
@pytest.mark.parametrize("rate_hz", [24.0, 25.0, 120.0])
def test_transition_is_the_exact_one_of_the_continuous_model(fade, rate_hz):
    dt = 1 / rate_hz
    drift, density = motion_model(fade, 12.0, 0.7)
    f, q = steps_of(dt, fade, 12.0, 0.7)
    # Source: Van Loan 1978, "Computing integrals involving the matrix exponential".
    block = expm(np.block([[-drift, density], [np.zeros((4, 4)), drift.T]]) * dt)
    flow = block[4:, 4:].T
    assert f == pytest.approx(flow, rel=1e-10, abs=1e-13)
    expected = flow @ block[:4, 4:]
    assert q == pytest.approx(expected, rel=1e-8, abs=1e-9)


def test_bounce_keeps_the_variance_that_it_is_given():
    drift, density = motion_model(1.0, 12.0, 0.7)
    still = solve_continuous_lyapunov(drift[2:, 2:], -density[2:, 2:])
    assert still == pytest.approx(np.diag([0.7, 0.7 * STRIDE**2]), abs=1e-9)
    f, q = steps_of(1 / 24, 1.0, 12.0, 0.7)
    assert f[2:, 2:] @ still @ f[2:, 2:].T + q[2:, 2:] == pytest.approx(still)


@pytest.mark.parametrize("rate_hz", [24.0, 30.0, 120.0])
@pytest.mark.parametrize("bandwidth", [6.0, 12.0, 16.0])
def test_gain_without_fade_and_bounce_is_the_riccati_solution(rate_hz, bandwidth):
    dt = 1 / rate_hz
    gain = settled_gain(*steps_of(dt, FOREVER_S, bandwidth, 0.0), rate_hz, 0.0)
    # White noise on the acceleration, continuous form.
    f = np.array([[1.0, dt], [0.0, 1.0]])
    q = bandwidth**4 * np.array([[dt**3 / 3, dt**2 / 2], [dt**2 / 2, dt]])
    expected = riccati_gain(f, q, np.array([1.0, 0.0]), rate_hz)
    assert gain[:2] == pytest.approx(expected, rel=1e-7)
    assert np.all(gain[2:] == 0.0)


@pytest.mark.parametrize("gait", [0.1, 1.0, 24.0])
@pytest.mark.parametrize("rate_hz", [24.0, 60.0, 120.0])
def test_gain_with_fade_and_bounce_is_the_riccati_solution(rate_hz, gait):
    f, q = steps_of(1 / rate_hz, 1.5, 12.0, gait)
    expected = riccati_gain(f, q, np.array([1.0, 0, 1.0, 0]), rate_hz)
    gain = settled_gain(f, q, rate_hz, gait)
    assert gain == pytest.approx(expected, rel=1e-4, abs=5e-5)  # not wholly settled


@pytest.mark.parametrize("rate_hz", [24.0, 120.0])
def test_belief_is_that_of_a_plain_filter_with_the_riccati_gain(rate_hz):
    times = np.arange(240) / rate_hz
    points = runner(times)
    f, q = steps_of(1 / rate_hz, 1.5, 12.0, 1.0)
    h = np.array([1.0, 0, 1.0, 0])
    gain = riccati_gain(f, q, h, rate_hz)
    state = np.zeros((4, 3))
    state[0] = points[0]
    state[1] = (points[1] - points[0]) * rate_hz
    expected = []
    for k in range(240):
        if k > 0:
            state = f @ state
            state += np.outer(gain, points[k] - h @ state)
        left = np.exp(-0.25 / 1.5)
        expected.append(state[0] + 1.5 * (1 - left) * state[1])
    ticks = times + 0.25
    place, _ = believed(times, points, ticks)
    assert place == pytest.approx(np.array(expected), abs=1e-5)


def test_a_start_that_is_not_carried_is_believed_to_stand():
    times = np.arange(24) / 24
    points = np.outer(times, [1.0, 2.0, 3.0])
    ticks = times - 0.5
    still, velocity = believed(times, points, ticks, carry=False)
    moving, _ = believed(times, points, ticks)
    early = ticks < times[0] + 0.25
    assert np.all(still[early] == points[0])
    assert np.all(velocity[early] == 0.0)
    assert moving[0] == pytest.approx(-0.5 * np.array([1.0, 2.0, 3.0]))


@pytest.mark.parametrize("reaction", [0.0, 0.13, 0.25])
def test_a_steady_walk_is_believed_exactly(reaction):
    times = np.arange(100) / 25
    start, speed = np.array([1.0, 1.7, -2.0]), np.array([1.4, 0.0, -0.6])
    ticks = np.arange(100) / 25
    place, velocity = believed(
        times, start + times[:, None] * speed, ticks, fade=FOREVER_S, reaction=reaction
    )
    # From the first tick on: before the first sample it is carried backwards.
    assert place == pytest.approx(start + ticks[:, None] * speed, abs=1e-7)
    assert velocity == pytest.approx(np.tile(speed, (100, 1)), abs=1e-7)


def test_a_fading_velocity_reaches_as_far_as_speed_times_fade():
    times = np.arange(240) / 24
    points = np.column_stack([2.0 * times, 0 * times, 0 * times])
    ticks = np.array([times[-1] + 0.25, times[-1] + 0.25 + 50.0])
    place, velocity = believed(times, points, ticks, gait=0.0, fade=1.0)
    left = np.exp(-0.25)
    v_seen = velocity[0, 0] / left
    assert 1.5 < v_seen <= 2.0
    assert place[1, 0] - place[0, 0] == pytest.approx(v_seen * left, rel=1e-6)
    assert velocity[1, 0] < 1e-12


@pytest.mark.parametrize("rate_hz", [24.0, 25.0, 120.0])
def test_nothing_is_known_before_the_reaction_has_passed(rate_hz):
    times = np.arange(int(8 * rate_hz)) / rate_hz
    before = runner(times)
    cut = int(4 * rate_hz)
    after = before.copy()
    after[cut + 1 :] += np.random.default_rng(3).normal(size=(len(times) - cut - 1, 3))
    # Whole samples of delay, and ticks on the samples.
    delay = int(np.ceil(0.25 * rate_hz))
    known = times <= times[cut + delay]
    for reaction, same in ((delay / rate_hz, True), ((delay - 1) / rate_hz, False)):
        first = believed(times, before, times, reaction=reaction)
        second = believed(times, after, times, reaction=reaction)
        for one, other in zip(first, second, strict=True):
            assert np.array_equal(one[known], other[known]) is same
            assert not np.array_equal(one[~known][0], other[~known][0])


def test_a_sample_is_seen_at_the_tick_at_which_it_is_old_enough():
    times = np.arange(200) / 25
    points = runner(times)
    moved = points.copy()
    moved[100] += 1.0
    # 0.13 s is 3.25 samples: seen at the fourth tick after it.
    one, _ = believed(times, points, times, reaction=0.13)
    other, _ = believed(times, moved, times, reaction=0.13)
    changed = np.flatnonzero(np.any(one != other, axis=1))
    assert changed[0] == 104
    exact, _ = believed(times, points, times, reaction=0.12)
    other, _ = believed(times, moved, times, reaction=0.12)
    assert np.flatnonzero(np.any(exact != other, axis=1))[0] == 103


def test_belief_hardly_depends_on_the_sample_rate():
    ticks = np.arange(96, 480) / 24
    places = {}
    for rate_hz in (24, 48, 120, 480):
        times = np.arange(20 * rate_hz + 1) / rate_hz
        places[rate_hz], _ = believed(times, runner(times), ticks)
    moved = np.sqrt(np.sum((places[480] - runner(ticks)) ** 2, axis=1).mean())
    away = {
        rate_hz: np.sqrt(np.sum((places[rate_hz] - places[480]) ** 2, axis=1).mean())
        for rate_hz in (24, 48, 120)
    }
    # The youngest sample is at hand at every rate; what is left falls with the step.
    assert 0.05 < moved < 0.3
    assert away[24] < 0.03
    assert away[48] < 0.55 * away[24]
    assert away[120] < 0.45 * away[48]


def test_step_bounce_is_mostly_kept_out():
    times = np.arange(20 * 48) / 48
    ticks = np.arange(96, 450) / 24
    sways = {}
    for gait in (0.0, 1.0, 24.0):
        place, _ = believed(times, runner(times), ticks, reaction=0.17, gait=gait)
        sways[gait] = np.ptp(place[:, 1]) / 0.06
    # Extrapolation over the reaction makes more of a bounce that is not expected.
    assert sways[0.0] > 2.0
    assert sways[1.0] < 0.8 * sways[0.0]
    assert sways[24.0] < 0.3 * sways[0.0]


def test_samples_that_show_nothing_new_are_not_read():
    times = np.arange(240) / 24
    points = runner(times)
    fresh = np.random.default_rng(7).random(240) < 0.7
    fresh[:2] = False
    spoilt = np.where(fresh[:, None], points, np.nan)
    ticks = np.arange(240) / 24
    place, velocity = believed(times, spoilt, ticks, fresh=fresh)
    alone = believed(times[fresh], points[fresh], ticks)
    assert np.all(np.isfinite(place))
    assert np.array_equal(place, alone[0])
    assert np.array_equal(velocity, alone[1])
    assert np.abs(place - runner(ticks)).max() < 1.0


def test_doubled_frames_do_not_stop_the_believed_motion():
    times = np.arange(240) / 24
    points = np.column_stack([3.0 * times, 0 * times, 0 * times])
    held = points[np.arange(240) // 2 * 2]
    fresh = np.arange(240) % 2 == 0
    _, read = believed(times, held, times, gait=0.0, fade=FOREVER_S)
    _, skipped = believed(times, held, times, fresh=fresh, gait=0.0, fade=FOREVER_S)
    assert skipped[24:, 0] == pytest.approx(3.0, abs=1e-7)
    assert np.ptp(read[24:, 0]) > 0.3


def test_belief_goes_with_the_scene_when_it_is_moved():
    times = np.arange(100) / 24
    points = runner(times)
    shift = np.array([7.0, -2.0, 30.0])
    place, velocity = believed(times, points, times)
    moved, same = believed(times, points + shift, times)
    assert moved == pytest.approx(place + shift, abs=1e-9)
    assert same == pytest.approx(velocity, abs=1e-9)


def test_who_stops_dead_is_believed_to_stand_as_soon_as_that_is_seen():
    times = np.arange(97) / 48
    points = 1.4 * np.minimum(times, 1.0)[:, None] * np.array([1.0, 0.0, 0.0])
    ticks = times + 1e-6
    slow, fast = (
        believed(times, points, ticks, reaction=0.0, fade=FOREVER_S, stands=stands)[1]
        for stands in (False, True)
    )
    told = times >= 1.0 + STAND_S + 1 / 48
    assert np.abs(slow[told][:5, 0]).max() > 0.1
    assert np.abs(fast[told]).max() < 0.02
    assert_array_equal(slow[times < 1.0 + STAND_S], fast[times < 1.0 + STAND_S])


def test_who_walks_slowly_is_not_believed_to_stand():
    times = np.arange(97) / 48
    points = 0.12 * times[:, None] * np.array([1.0, 0.0, 0.0])
    one, other = (
        believed(times, points, times, stands=stands)[1] for stands in (False, True)
    )
    assert_array_equal(one, other)
