"""Each number of a trial that a viewer would mind costs points of its own."""

from dataclasses import replace

import numpy as np
import pytest
from asks import open_ask, person
from shots import walk

from carrellata.solver.setups.judge import (
    CLOSEST,
    HEAD_HELD,
    HEADROOM_OFF,
    NEAR_SIZE,
    OTHERS_HELD,
    PAN_RATE,
    PAN_REVERSALS,
    REVERSALS,
    RIPPLE,
    TILT_RATE,
    TILT_REVERSALS,
    must_hold,
)
from carrellata.solver.setups.proposal import build
from carrellata.solver.setups.propose import propose_standing
from carrellata.solver.setups.score import Judged, judged
from carrellata.solver.setups.setup import Ask
from carrellata.solver.setups.trial import Rehearsal, Trial

ASK = open_ask(person(walk(1.4)(np.arange(97) / 24)), "full", kit=(50,))


@pytest.fixture(scope="module")
def trial() -> Trial:
    stage = Rehearsal(ASK)
    setup = build(propose_standing(stage.known)[0], ASK)
    assert setup is not None
    return stage.tried(setup)


def with_number(trial: Trial, index: int, value: float, ask: Ask = ASK) -> Judged:
    numbers = trial.numbers.copy()
    numbers[index] = value
    return judged(ask, trial._replace(numbers=numbers))


@pytest.mark.parametrize(
    ("index", "name", "free", "more", "points"),
    [
        (HEADROOM_OFF, "headroom", 0.05, 0.15, 3.0),
        (RIPPLE, "ripple", np.radians(1.0), np.radians(3.0), 0.6),
        (REVERSALS, "reversals", 0.0, 2.0, 3.0),
        (PAN_RATE, "decisions", 1.0, 3.0, 1.2),
        (TILT_RATE, "decisions", 1.0, 3.0, 1.2),
    ],
)
def test_what_a_viewer_minds_costs_its_points(
    trial: Trial, index: int, name: str, free: float, more: float, points: float
) -> None:
    quiet = trial.numbers.copy()
    for each in (PAN_RATE, TILT_RATE, PAN_REVERSALS, TILT_REVERSALS, REVERSALS):
        quiet[each] = 0.0
    calm = trial._replace(numbers=quiet)
    before = with_number(calm, index, free)
    after = with_number(calm, index, more)
    assert name not in before.parts
    assert after.parts == before.parts | {name: pytest.approx(points, abs=1e-6)}
    assert after.score == pytest.approx(before.score + points, abs=1e-5)


@pytest.mark.parametrize("index", [PAN_REVERSALS, TILT_REVERSALS])
def test_an_axis_that_turns_back_too_often_costs_points(
    trial: Trial, index: int
) -> None:
    free = with_number(trial, index, 0.0)
    often = with_number(trial, index, 4 * trial.seconds)
    assert often.parts["reversals"] > free.parts.get("reversals", 0.0) + 0.5


@pytest.mark.parametrize("index", [HEAD_HELD, OTHERS_HELD])
@pytest.mark.parametrize(
    ("size", "must"),
    [("full", 0.99), ("medium", 0.99), ("chest", 0.98), ("close", 0.95)],
)
def test_heads_must_be_held_as_often_as_the_size_asks(
    trial: Trial, index: int, size: str, must: float
) -> None:
    ask = open_ask(person(walk(1.4)(np.arange(97) / 24)), size, kit=(50,))
    assert must_hold(ask.shot.framings) == must
    name = "head_in_frame" if index == HEAD_HELD else "held_in_frame"
    assert name not in with_number(trial, index, must, ask).broken
    cut = with_number(trial, index, 2 * must - 1, ask)
    assert cut.broken[name] == pytest.approx(1.0)
    assert cut.parts["out_of_frame"] >= 1000 * (2 - 2 * must) - 1e-6


def test_the_least_distance_is_a_must(trial: Trial) -> None:
    least = ASK.stage.min_distance_m
    assert "min_distance" not in with_number(trial, CLOSEST, least).broken
    broken = with_number(trial, CLOSEST, least - 0.4).broken
    assert broken["min_distance"] == pytest.approx(0.4)


def test_hidden_frames_break_a_must_where_sight_is_forbidden(trial: Trial) -> None:
    box = np.array([[[3.0, 0.0, -1.0], [4.0, 2.0, 1.0]]])

    def broken(forbidden: bool) -> dict[str, float]:
        stage = replace(
            ASK.stage,
            keep_outs=box,
            names=("kiosk",),
            sight_forbidden=np.array([forbidden]),
        )
        return judged(replace(ASK, stage=stage), trial._replace(hidden=0.2)).broken

    assert broken(True)["sight"] == pytest.approx(0.2)
    assert "sight" not in broken(False)
    assert "sight" not in judged(ASK, trial._replace(hidden=0.0)).broken


@pytest.mark.parametrize(("near", "must"), [(0.5, True), (0.99, False)])
def test_a_size_that_is_not_come_near_to_breaks_a_must(
    trial: Trial, near: float, must: bool
) -> None:
    assert ("size" in with_number(trial, NEAR_SIZE, near).broken) is must
