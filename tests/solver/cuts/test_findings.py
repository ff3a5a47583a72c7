"""What a take is faulted for by its measures, and how findings are ranked."""

from typing import Any

import pytest
from shots import SHOTS

from carrellata.solver.cuts.findings import (
    SEVERITIES,
    Finding,
    shot_findings,
)
from carrellata.solver.measures.measure import measure
from carrellata.solver.take import operate

SOUND: dict[str, Any] = {
    "in_frame": 1.0,
    "in_safe": 1.0,
    "size_kept": 1.0,
    "angle_kept": 1.0,
    "soft": 0.0,
    "seen": 1.0,
    "closest_m": 4.0,
    "pan_speed_used": 0.4,
    "refused_plans": 0,
    "whip_plans": 0,
    "strobing_deg_s": 2.0,
}


@pytest.mark.parametrize(
    ("measure_name", "value", "name", "severity"),
    [
        ("head_in_frame", 0.995, "head_cut", "warning"),
        ("head_in_frame", 0.98, "head_cut", "fault"),
        ("others_in_frame", 0.9, "let_go", "warning"),
        ("in_frame", 0.98, "subject_lost", "fault"),
        ("in_safe", 0.995, "out_of_safe", "note"),
        ("in_safe", 0.9, "out_of_safe", "note"),
        ("rig_off_floor_m", 0.2, "rig_off_floor", "fault"),
        ("rig_off_height_m", 0.2, "rig_off_height", "warning"),
        ("rig_step_m", 0.2, "rig_leaves_floor", "fault"),
        ("rig_through", "kiosk", "rig_in_keep_out", "fault"),
        ("sight_forbidden", "kiosk", "sight_forbidden", "fault"),
        ("size_kept", 0.94, "size_not_kept", "note"),
        ("size_kept", 0.59, "size_not_kept", "warning"),
        ("angle_kept", 0.49, "angle_not_kept", "warning"),
        ("soft", 0.01, "soft_focus", "note"),
        ("soft", 0.06, "soft_focus", "warning"),
        ("seen", 0.9, "subject_hidden", "note"),
        ("closest_m", 0.9, "close_to_lens", "note"),
        ("closest_m", 0.2, "close_to_lens", "fault"),
        ("pan_speed_used", 1.0, "limit_reached", "note"),
        ("refused_plans", 2, "refused_plans", "note"),
        ("whip_plans", 1, "whip_used", "note"),
        ("strobing_deg_s", 9.0, "strobing", "note"),
    ],
)
def test_one_flaw_is_one_finding(
    measure_name: str, value: float, name: str, severity: str
) -> None:
    # A 25 mm half width at 50 mm: 28 deg across, 4 deg/s in seven seconds.
    found = shot_findings(SOUND | {measure_name: value}, tan_u=0.249)
    assert [(one.name, one.severity) for one in found] == [(name, severity)]
    assert found[0].subject_of == "shot"
    assert value in found[0].numbers.values()


def test_a_sound_take_and_one_without_measures_find_nothing() -> None:
    assert shot_findings(SOUND, tan_u=0.249) == ()
    assert shot_findings({}) == ()
    assert shot_findings(dict.fromkeys(SOUND), tan_u=0.249) == ()


def test_a_frame_may_take_seven_seconds_to_pass() -> None:
    # 2 atan(0.249) = 27.98 deg in seven seconds are 3.997 deg/s.
    for speed, found in ((3.99, 0), (4.01, 1)):
        measures = {"strobing_deg_s": speed}
        assert len(shot_findings(measures, tan_u=0.249)) == found
    assert shot_findings({"strobing_deg_s": 40.0}) == ()


def test_a_sprint_past_sticks_is_faulted_for_what_it_measures() -> None:
    take = operate(SHOTS["sprint_on_sticks"]())
    measures = measure(take)
    found = {one.name: one for one in shot_findings(measures)}
    assert ("subject_lost" in found) == (measures["in_frame"] < 0.99)
    assert "size_not_kept" in found
    assert found["size_not_kept"].numbers["size_kept"] == measures["size_kept"]


def test_severities_rise() -> None:
    assert SEVERITIES == ("note", "warning", "fault")
    ranked = [Finding(name="x", severity=one, subject_of="shot") for one in SEVERITIES]
    assert [one.reaches("warning") for one in ranked] == [False, True, True]
