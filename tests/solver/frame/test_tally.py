"""The measures' pass over a take, against array by array."""

import numpy as np
import pytest
from shots import SHOTS, random_shot

from carrellata.solver.action.framing import angle_range
from carrellata.solver.frame.tally import starts_within, turned_back
from carrellata.solver.measures.measure import SIZE_KEPT, measure
from carrellata.solver.take import operate


def takes():
    for make in SHOTS.values():
        yield operate(make())
    for number in range(20):
        yield operate(random_shot(np.random.default_rng(number), number))


def mean(values):
    return values.mean() if len(values) else None


def test_shares_are_means_over_the_samples_of_the_cut_that_show_the_subject():
    for take in takes():
        shot, found = take.shot, measure(take)
        cut = ~take.handle
        seen = cut & ~np.isnan(take.u)
        starts = [f.start_s for f in shot.framings]
        at = np.searchsorted(starts, take.times_s, "right") - 1
        spans = np.array([f.top - f.bottom for f in shot.framings])[at]
        distances = np.array([f.distance_m for f in shot.framings])[at]
        heights = np.array([s.height_m for s in shot.subjects])[take.subject]
        asked = spans * heights / (2 * shot.tangents[1] * distances)
        octaves = np.abs(np.log2(np.maximum(take.size, 1e-9) / asked))
        eyes = np.empty_like(take.base)
        for k in np.unique(take.subject):
            now = take.subject == k
            eyes[now] = shot.subjects[k].at(take.times_s[now], 1.0)
        d = take.base - eyes
        rise = np.arctan2(d[:, 1], np.hypot(d[:, 0], d[:, 2]))
        low, high = np.array([angle_range(f.angle) for f in shot.framings])[at].T
        for name, flags in (
            ("in_frame", take.in_frame),
            ("body_in_frame", take.body_in_frame),
            ("in_safe", take.in_safe),
            ("soft", take.soft),
            ("size_kept", octaves <= np.log2(1 + SIZE_KEPT)),
            ("angle_kept", (rise >= low) & (rise <= high)),
        ):
            assert found[name] == mean(flags[seen]), name
        assert found["seen"] == mean(seen[cut])
        miss = np.hypot(take.u - take.aim_u, take.v - take.aim_v)[seen]
        if len(miss) and np.isfinite(miss).all():
            drift = np.sqrt(np.mean(miss**2))
            assert found["drift_rms"] == pytest.approx(drift, rel=1e-12)
        else:
            assert found["drift_rms"] is None


def test_ranges_and_peaks_are_those_of_the_cut():
    for take in takes():
        found, cut = measure(take), ~take.handle
        for name, expected in (
            ("dolly_m", np.ptp(take.rail[cut, 0])),
            ("dolly_max_speed_m_s", np.abs(take.rail[cut, 1]).max()),
            ("dolly_max_accel_m_s2", np.abs(take.rail[cut, 2]).max()),
            ("pan_range_deg", np.degrees(np.ptp(take.pan[cut, 0]))),
            ("pan_max_speed_deg_s", np.degrees(np.abs(take.pan[cut, 1]).max())),
            ("pan_max_accel_deg_s2", np.degrees(np.abs(take.pan[cut, 2]).max())),
            ("tilt_range_deg", np.degrees(np.ptp(take.tilt[cut, 0]))),
            ("tilt_max_speed_deg_s", np.degrees(np.abs(take.tilt[cut, 1]).max())),
        ):
            assert found[name] == pytest.approx(expected, rel=1e-14), name
        shake = np.degrees(np.sqrt(np.mean(take.shake.pan[cut] ** 2)))
        assert found["shake_pan_rms_deg"] == pytest.approx(shake, rel=1e-12)


def test_turns_and_starts_are_counted():
    speed = np.array([1.0, 0.01, -1.0, -0.01, -1.0, 0.0, 1.0, 1.0, -1.0])
    assert turned_back(speed, 0, 9, 0.02) == 3
    assert turned_back(speed, 0, 8, 0.02) == 2
    assert turned_back(speed, 0, 9, 2.0) == 0
    starts = np.array([0.0, 1.0, 2.0, 3.0])
    assert starts_within(starts, 1.0, 2.0) == 2
    assert starts_within(starts, 0.5, 9.0) == 3
