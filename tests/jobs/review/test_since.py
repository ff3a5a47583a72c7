"""What is another since the last solve, in words."""

import json
from typing import Any

from review_rows import TRACK, finding, row, setup

from carrellata.jobs.review.since import changes_since
from carrellata.jobs.review.words import setup_changes
from carrellata.jobs.takes.row_setup import setup_in_row


def test_new_gone_and_worse_findings_are_told_apart() -> None:
    before = [row("a", finding("soft_focus", "note"), finding("eye_jump"))]
    after = [row("a", finding("soft_focus"), finding("strobing", "note"))]
    (change,) = changes_since(after, before)
    assert set(change.lines) == {
        "soft focus is a warning now",
        "new note: strobing",
        "gone: eye jump",
    }
    assert change.setup == ()


def test_a_shot_that_is_as_it_was_is_no_change() -> None:
    rows = [row("a", finding("soft_focus")), row("b")]
    assert changes_since(rows, rows) == []


def test_new_shots_and_failures_are_named() -> None:
    failed = row("b", status="failed", take_key=None, error="shots[1]: no")
    changes = changes_since([row("a"), failed], [row("b", finding("x"))])
    lines = [(one.shot, one.lines) for one in changes]
    assert lines == [("a", ("is a new shot",)), ("b", ("fails now",))]


def changes(**fields: Any) -> list[str]:
    before, after = setup_in_row(json.dumps(setup())), json.dumps(setup(**fields))
    return setup_changes(before, setup_in_row(after))


def test_changes_of_a_setup_name_what_changed() -> None:
    sticks = {"kind": "sticks", "at": [0, 0, 0]}
    longer = TRACK | {"to": [900, 0, 150]}
    assert changes() == []
    assert changes(lens_mm=50.0, side="left") == [
        "lens 25 mm \u2192 50 mm",
        "side free \u2192 left",
    ]
    assert changes(rig=sticks) == ["rig track \u2192 sticks"]
    assert changes(rig=longer) == ["track moved"]
    assert changes(view="choose") == []


def test_reason_of_a_choice_is_told_with_its_change() -> None:
    why = {
        "candidates": 7,
        "tried": 90,
        "score": 1.25,
        "parts": {"rig": 1.0, "angle": 0.25},
        "kept": True,
    }
    after = row("a", setup=json.dumps(setup(lens_mm=35.0)), why=json.dumps(why))
    (change,) = changes_since([after], [row("a")])
    assert change.setup == ("lens 25 mm \u2192 35 mm",)
    assert "kept from 7 setups" in change.why
    assert "1.25 points" in change.why
    assert "the rig and the metres it covers (1), frames that miss" in change.why
