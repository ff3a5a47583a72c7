"""Numbers that guides and handbooks state are those that the program uses."""

import math
from fractions import Fraction

import numpy as np
import pytest
from evidence.baselines import rigid
from job_tables import a_job
from shots import acted, shot, walk
from sound_job import good_shot

from carrellata.jobs.job.parse import parse_job
from carrellata.solver.action.claim import VERBS
from carrellata.solver.action.framing import LEVEL_DEG
from carrellata.solver.claims.travel import MOVING_M_S
from carrellata.solver.crew import decide, operator, planner
from carrellata.solver.cuts import findings, lines, rules
from carrellata.solver.optics.camera import FILM_BACKS
from carrellata.solver.presets import PRESETS
from carrellata.solver.rigs.sticks import sticks
from carrellata.solver.setups.judge import MUST_HOLD
from carrellata.solver.shake import CYCLES_PER_SAMPLE, LEVELS


@pytest.mark.parametrize(
    ("stated", "used"),
    [
        (2.5, planner.WHIP),  # README: "2.5 times the operator's"
        (0.93, operator.SAFE),  # action-safe, SMPTE ST 2046-1
        (0.8, decide.PLAN_STALE_S),  # solver/README, section 5
        (0.85, decide.PLAN_SPENT),
        (20.0, decide.COAST_S),
        (7.0, findings.PAN_ACROSS_S),  # seven-second rule
        (0.99, findings.LEAST_FRAMED),
        (math.radians(30), rules.LEAST_TURN_RAD),  # 30-degree rule
        (math.radians(10), lines.NEAR_AXIS_RAD),
        (0.45, CYCLES_PER_SAMPLE),
        (8.0, LEVEL_DEG),
        (0.5, MOVING_M_S),
        (0.99, VERBS["together"].limits["share"]),
        (30.0, VERBS["toward"].limits["degrees"]),
    ],
)
def test_a_stated_number_is_the_one_that_is_used(stated, used):
    assert used == pytest.approx(stated)


def test_heads_that_must_be_held_may_be_cut_in_so_many_frames():
    assert MUST_HOLD == ((0.4, 0.99), (0.25, 0.98), (0.0, 0.95))


def test_presets_keep_their_order():
    order = [PRESETS[name].operator for name in ("sharp", "brisk", "steady")]
    for name, more in (("reaction_s", 1), ("rest_s", 1), ("tolerance", 1)):
        values = [more * getattr(one, name) for one in order]
        assert values == sorted(values)
        assert len(set(values)) == 3
    for name in ("max_speed", "bandwidth_rad_s", "stiffness_rad_s"):
        values = [-getattr(one, name) for one in order]
        assert values == sorted(values)
    assert [PRESETS[n].operator.reaction_s for n in ("sharp", "brisk", "steady")] == [
        0.125,
        0.16,
        0.2,
    ]
    assert PRESETS["brisk"].operator.tolerance == 0.1


def test_levels_of_shake_are_as_the_guide_lists_them():
    assert {n: (one.percent, one.band_hz) for n, one in LEVELS.items()} == {
        "locked": (0.0, (0.5, 5.0)),
        "settled": (0.08, (0.4, 3.0)),
        "shoulder": (0.35, (0.5, 5.0)),
        "rough": (0.9, (0.6, 8.0)),
    }


@pytest.mark.parametrize(
    ("back", "coc_mm"),
    [("super35-4perf", 0.025), ("16mm", 0.015), ("super16", 0.015)],
)
def test_the_circle_of_confusion_is_that_of_the_gauge(back, coc_mm):
    # 0.001 in for 35 mm and 0.0006 in for 16 mm film: a cinematographer's handbook.
    job = a_job(good_shot())
    job["camera"] = {"film_back": back, "aspect": 1.66, "lens_kit_mm": [35]}
    assert parse_job(job).shots[0].camera.coc_mm == coc_mm
    assert coc_mm == pytest.approx(
        25.4 * (0.001 if coc_mm > 0.02 else 0.0006), abs=5e-4
    )
    job["camera"]["coc_mm"] = 0.02
    assert parse_job(job).shots[0].camera.coc_mm == 0.02


def test_three_perforations_hold_a_picture_of_14_mm():
    assert FILM_BACKS["super35-3perf"] == (24.89, 14.00)
    assert FILM_BACKS["super35-3perf"][1] < 3 * 0.187 * 25.4


@pytest.mark.parametrize(("speed", "distance"), [(1.4, 3.0), (7.0, 5.0)])
def test_a_straight_pass_by_asks_of_the_pan_what_geometry_says(speed, distance):
    # theta = atan(v t / d): at most v / d, and 3 sqrt(3) / 8 (v / d)^2.
    seconds = 6 * distance / speed
    rate = Fraction(240)
    start = (-speed * seconds / 2, 0.0, 0.0)
    one = acted(walk(speed, start=start), seconds, rate=rate)
    passed = shot(one, sticks([0.0, 1.5, distance]), rate=rate)
    moves = rigid(passed)
    rates = np.gradient(moves.pan, moves.times_s)
    accels = np.gradient(rates, moves.times_s)[3:-3]
    assert np.abs(rates).max() == pytest.approx(speed / distance, rel=1e-3)
    assert np.abs(accels).max() == pytest.approx(
        0.6495 * (speed / distance) ** 2, rel=4e-3
    )


def test_at_seven_seconds_a_width_a_frame_steps_and_blurs_so_far():
    step = 1.0 / (findings.PAN_ACROSS_S * 24)
    assert 100 * step == pytest.approx(0.595, abs=5e-4)
    shutter = parse_job(a_job(good_shot())).shots[0].camera.shutter_deg
    assert 100 * step * shutter / 360 == pytest.approx(0.298, abs=5e-4)
    assert shutter / (360 * 24) == pytest.approx(1 / 48)
