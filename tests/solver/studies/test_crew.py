"""Round trips: takes of known crews on recorded motion, found again from their curves.

Curves are rounded to 0.01 degrees and 1 mm and carry noise; some are resampled.
"""

from fractions import Fraction

import numpy as np
import pytest
from studied import camera_of, exactly_aimed, person, staged, taken

from carrellata.solver.studies.study import CREW, NOT_FOLLOWING, study

FRAME_S = 1 / 24
MOST_TRIALS = 1500  # a millisecond each
CASES = {
    "settled on sticks": (
        "referee_turns",
        "sticks",
        {"shake": "settled", "operator": {"reaction_s": 0.21, "tolerance": 0.07}},
    ),
    "resampled to 30": (
        "jumps",
        "sticks",
        {
            "preset": "steady",
            "resampled_hz": 30.0,
            "seconds": 18.0,
            "operator": {"reaction_s": 0.26, "tolerance": 0.09, "rest_s": 0.35},
        },
    ),
    "shoulder and noise": (
        "sprint_long",
        "sticks",
        {
            "preset": "sharp",
            "shake": "shoulder",
            "noise_deg": 0.02,
            "operator": {"reaction_s": 0.15, "tolerance": 0.06},
        },
    ),
    "track": (
        "runner_short",
        "track",
        {
            "shake": "settled",
            "operator": {"reaction_s": 0.29, "tolerance": 0.13},
        },
    ),
    "arc": ("runner_late", "arc", {"preset": "heavy_head", "shake": "rough"}),
}
MARKS = {
    "resampled to 30": [pytest.mark.long],
    "track": [pytest.mark.long],
    "arc": [pytest.mark.long],
}
CASES_ASKED = [pytest.param(case, marks=MARKS.get(case, ())) for case in CASES]


def shaken_percent(known):
    tx, _ = known.shot.tangents
    both = np.stack([np.tan(known.take.shake.pan), np.tan(known.take.shake.tilt)])
    return 100 * np.sqrt(np.mean(both**2)) / (2 * tx)


@pytest.mark.slow
@pytest.mark.parametrize("case", CASES_ASKED)
def test_a_known_crew_is_found_again(case):
    clip, rig, settings = CASES[case]
    known = taken(clip, rig, **settings)
    rate = Fraction(int(settings.get("resampled_hz", 24)))
    found = study(
        known.camera, known.shot.subjects[0], rate=rate, size="full", fit=True
    )
    true = known.shot.crew.operator
    assert found.verdict.kind == CREW, found.verdict
    assert found.operator.n_trials < MOST_TRIALS
    delay, tolerance = (found.operator.ranges[n] for n in ("reaction_s", "tolerance"))
    assert delay.value == pytest.approx(true.reaction_s, abs=FRAME_S)
    assert tolerance.value == pytest.approx(true.tolerance, rel=0.2)
    assert delay.low - FRAME_S <= true.reaction_s <= delay.high + FRAME_S
    shake = shaken_percent(known)
    if shake > 0:
        # What is left of decisions that part is taken for shake too, and how much that
        # is changes with the last bits of a sine: the study states how sure it is.
        assert found.shake.percent is not None, found.shake.why
        assert found.shake.low <= shake <= found.shake.high
        assert found.shake.high < 2 * found.shake.low
    else:
        assert found.shake.percent is None or found.shake.percent < 0.05


@pytest.mark.slow
def test_keys_by_hand_are_not_called_a_crew():
    # A key of exact aim every two seconds, drawn through by a smooth curve.
    from scipy.interpolate import CubicSpline

    one = staged(person("referee_turns"), "sticks", 15.0)
    times, place, angles = exactly_aimed(one)
    keys = np.arange(0, len(times), 48)
    drawn = CubicSpline(times[keys], angles[:, keys], axis=1)(times)
    camera = camera_of(times, place, drawn)
    found = study(camera, one.subjects[0], rate=one.rate, size="full", fit=True)
    assert found.verdict.kind == NOT_FOLLOWING
    assert "explains only" in found.verdict.why
