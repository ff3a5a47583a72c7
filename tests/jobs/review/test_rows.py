"""Rows of a sequence: how bad they are, and in what order."""

from review_rows import finding, row

from carrellata.jobs.review.rows import worst_first


def test_failed_shots_come_first_then_faults_then_many_warnings() -> None:
    accepted = {"reason": "meant", "by": "Ada"}
    rows = [
        row("good"),
        row("drifts", measures={"drift_max": 0.9}),
        row("one", finding("soft_focus")),
        row("two", finding("soft_focus"), finding("eye_jump")),
        row("let", finding("crosses_line", "fault", accepted=accepted)),
        row("fault", finding("subject_lost", "fault")),
        row("none", status="failed", take_key=None, error="shots[6]: no"),
    ]
    order = [one.shot for one in worst_first(rows)]
    assert order == ["none", "fault", "two", "one", "drifts", "good", "let"]


def test_state_is_the_worst_of_what_nobody_has_accepted() -> None:
    accepted = {"reason": "meant", "by": "Ada"}
    assert row("a").state == "good"
    assert row("a", finding("x", "note"), finding("y", "fault")).state == "fault"
    assert row("a", finding("y", "fault", accepted=accepted)).state == "good"
    assert row("a", status="no_setup", take_key=None, error="none").state == "failed"


def test_findings_stand_worst_first_with_their_words() -> None:
    one = row("a", finding("x_y", "note"), finding("z", "fault", of="cut"))
    worst, mild = one.findings
    assert (worst.title, worst.of_cut) == ("z", True)
    assert (mild.title, mild.of_cut, mild.text) == ("x y", False, "It is x_y; mend it.")
