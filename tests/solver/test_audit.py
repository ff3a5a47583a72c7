"""What a kept take no longer holds is told by how much it lost."""

from carrellata.solver.audit import BROKEN, lock_findings

THEN = {
    "head_in_frame": 1.0,
    "in_frame": 1.0,
    "body_in_frame": 0.9,
    "in_safe": 1.0,
    "size_kept": 0.8,
    "angle_kept": 1.0,
    "soft": 0.0,
}


def test_nothing_is_found_where_nothing_got_worse():
    assert lock_findings(THEN, THEN) == ()
    better = THEN | {"body_in_frame": 1.0, "size_kept": 1.0}
    assert lock_findings(THEN, better) == ()
    assert lock_findings(THEN, THEN | {"in_safe": 0.985}) == ()


def test_a_subject_that_leaves_the_frame_is_a_fault():
    (found,) = lock_findings(THEN, THEN | {"head_in_frame": 0.6, "soft": 0.1})
    assert (found.name, found.severity) == (BROKEN, "fault")
    assert found.numbers == {
        "head_in_frame": 0.6,
        "head_in_frame_locked": 1.0,
        "soft": 0.1,
        "soft_locked": 0.0,
    }


def test_a_size_that_is_lost_is_a_warning():
    (found,) = lock_findings(THEN, THEN | {"size_kept": 0.5})
    assert found.severity == "warning"


def test_a_measure_that_means_nothing_now_is_left_out():
    assert lock_findings(THEN, dict.fromkeys(THEN)) == ()
