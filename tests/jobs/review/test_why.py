"""Why a shot has its setup, and what the next best one would have cost."""

import json
from typing import Any

from carrellata.jobs.job.world import WorldSpec
from carrellata.jobs.review.why import why_of

CENTIMETRES = WorldSpec(up="z", metres_per_unit=0.01)

WHY: dict[str, Any] = {
    "candidates": 7,
    "tried": 90,
    "score": 1.25,
    "parts": {"rig": 1.0, "angle": 0.25},
    "cut": {"eye_jump": 0.4},
    "kept": False,
}
OTHER: dict[str, Any] = {
    "setup": {
        "rig": {"kind": "sticks", "at": [1.0, 2.0, 3.0]},
        "lens_mm": 35.0,
        "height": None,
        "side": "left",
        "view": "three_quarter",
    },
    "score": 2.5,
    "parts": {"angle": 2.5},
    "costs_more": 1.75,
    "tie": True,
}


def test_costs_stand_side_by_side_the_dearest_first() -> None:
    why = why_of(json.dumps(WHY), json.dumps(OTHER), CENTIMETRES)
    assert why.parts == (
        ("frames that miss the asked angle", "0.25", "2.50"),
        ("the rig and the metres it covers", "1.00", "\u2013"),
        ("cut: how far the eye jumps", "0.40", ""),
    )
    assert "among 7 setups" in why.words
    assert "1.25 points (fewer are better) and 0.40 for the cut" in why.words


def test_runner_up_is_named_with_what_it_would_cost_the_sequence() -> None:
    why = why_of(json.dumps(WHY), json.dumps(OTHER), CENTIMETRES)
    assert (
        "35 mm, sticks at (0.01, 0.02, 0.03), three quarter from the left"
        in why.runner_up
    )
    assert "2.50 points; the sequence would cost 1.75 more" in why.runner_up
    assert "a matter of taste" in why.runner_up


def test_the_fee_for_changing_last_nights_setup_is_told_apart() -> None:
    for fee, words in (
        (1.5, "1.75 more, 1.50 of it the fee for changing last night's setup"),
        (-0.5, "1.75 more, though it is last night's and 0.50 are taken off it"),
        (0.0, "1.75 more, which is a matter of taste"),
    ):
        why = why_of(json.dumps(WHY), json.dumps(OTHER | {"fee": fee}), CENTIMETRES)
        assert words in why.runner_up


def test_a_setup_without_rivals_or_choice_says_so() -> None:
    assert why_of(None, None, None).words == "The job fixes this setup."
    alone = why_of(json.dumps(WHY | {"kept": True}), None, None)
    assert "No setup of another rig, view or lens holds the shot." in alone.words
    assert "the setup of the last solve" in alone.words
    assert alone.runner_up == ""
