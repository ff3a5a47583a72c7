"""Findings: what a shot or a cut is faulted for, how badly, and by which rule."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import atan, degrees, inf

from ..measures.on_stage import Measures

SEVERITIES = ("note", "warning", "fault")
"""In rising order: worth knowing, worth a look, wrong."""

OF_SHOT, OF_CUT = "shot", "cut"

COMMON = "common practice, no source"
THIS_TOOL = "this tool's own limit"
SAFE_AREA = "action-safe area, SMPTE ST 2046-1"
OF_STAGE = "the stage of the job"
SEVEN_SECONDS = "seven-second panning rule, common practice, no source"

LEAST_FRAMED = 0.99  # below, the subject is lost and not only touched by the edge
SIZE_RANGE = 2.5  # a rig that never comes within this factor can not give the size
LEAST_SIZED = (0.95, 0.6)
LEAST_ANGLED = 0.5
MOST_SOFT = 0.05
CLOSE_M = (0.3, 1.0)
AT_LIMIT = 0.999
PAN_ACROSS_S = 7.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Finding:
    """One thing that a shot, or the cut into it, is faulted for.

    Attributes:
        name: of the rule, as a job accepts it.
        severity: one of `SEVERITIES`.
        subject_of: what it is about, `shot` or `cut`.
        numbers: what was found; units in the names, and names of shots and subjects.
        source: of the rule.
    """

    name: str
    severity: str
    subject_of: str
    numbers: Mapping[str, float | str] = field(default_factory=dict)
    source: str = COMMON

    def reaches(self, severity: str) -> bool:
        """Tell whether it is as severe as `severity`, or more."""
        return SEVERITIES.index(self.severity) >= SEVERITIES.index(severity)


def shot_findings(
    measures: Measures, *, tan_u: float | None = None
) -> tuple[Finding, ...]:
    """Return what one take is faulted for, by its measures.

    Args:
        measures: of `measure`; those that are None or left out find nothing.
        tan_u: half-frame tangent of the lens across, for the speed of pans.
    """
    found: list[Finding] = []

    def add(name: str, severity: str, source: str, **numbers: float | str) -> None:
        found.append(
            Finding(
                name=name,
                severity=severity,
                subject_of=OF_SHOT,
                numbers=numbers,
                source=source,
            )
        )

    def value(name: str, otherwise: float) -> float:
        given = measures.get(name)
        return otherwise if given is None else float(given)

    def words(name: str) -> str | None:
        given = measures.get(name)
        return None if given is None else str(given)

    framed = value("in_frame", 1.0)
    if framed < LEAST_FRAMED:
        add("subject_lost", "fault", COMMON, in_frame=framed)
    head = value("head_in_frame", 1.0)
    if head < 1.0:
        severity = "fault" if head < LEAST_FRAMED else "warning"
        add("head_cut", severity, COMMON, head_in_frame=head)
    others = value("others_in_frame", 1.0)
    if others < LEAST_FRAMED:
        add("let_go", "warning", COMMON, others_in_frame=others)
    nearest, furthest = value("nearest_m", 0.0), value("furthest_m", 0.0)
    asked = value("asked_m", 0.0)
    if nearest > asked * SIZE_RANGE > 0.0 or 0.0 < furthest < asked / SIZE_RANGE:
        numbers = {"asked_m": asked, "nearest_m": nearest, "furthest_m": furthest}
        add("size_out_of_reach", "fault", THIS_TOOL, **numbers)
    off = value("rig_off_floor_m", 0.0)
    if off > 0.0:
        add("rig_off_floor", "fault", OF_STAGE, rig_off_floor_m=off)
    off = value("rig_off_height_m", 0.0)
    if off > 0.0:
        add("rig_off_height", "warning", OF_STAGE, rig_off_height_m=off)
    off = value("rig_step_m", 0.0)
    if off > 0.0:
        add("rig_leaves_floor", "fault", OF_STAGE, rig_step_m=off)
    box = words("rig_through")
    if box is not None:
        add("rig_in_keep_out", "fault", OF_STAGE, keep_out=box)
    box = words("sight_forbidden")
    if box is not None:
        add("sight_forbidden", "fault", OF_STAGE, keep_out=box)
    hidden, hider = value("hidden", 0.0), words("hidden_by")
    if hidden > 0.0 and hider is not None:
        add("hidden_behind", "warning", COMMON, hidden=hidden, hidden_by=hider)
    safe = value("in_safe", 1.0)
    if safe < 1.0:
        add("out_of_safe", "note", SAFE_AREA, in_safe=safe)
    sized = value("size_kept", 1.0)
    if sized < LEAST_SIZED[0]:
        severity = "warning" if sized < LEAST_SIZED[1] else "note"
        add("size_not_kept", severity, THIS_TOOL, size_kept=sized)
    angled = value("angle_kept", 1.0)
    if angled < LEAST_ANGLED:
        add("angle_not_kept", "warning", THIS_TOOL, angle_kept=angled)
    soft = value("soft", 0.0)
    if soft > 0.0:
        severity = "warning" if soft > MOST_SOFT else "note"
        add("soft_focus", severity, COMMON, soft=soft)
    seen = value("seen", 1.0)
    if seen + hidden < 1.0 - 1e-9:
        add("subject_hidden", "note", COMMON, seen=seen)
    closest = value("closest_m", inf)
    if closest < CLOSE_M[1]:
        severity = "fault" if closest < CLOSE_M[0] else "note"
        add("close_to_lens", severity, THIS_TOOL, closest_m=closest)
    used = value("pan_speed_used", 0.0)
    if used >= AT_LIMIT:
        add("limit_reached", "note", THIS_TOOL, pan_speed_used=used)
    refused = value("refused_plans", 0.0)
    if refused > 0:
        add("refused_plans", "note", THIS_TOOL, refused_plans=refused)
    whips = value("whip_plans", 0.0)
    if whips > 0:
        add("whip_used", "note", COMMON, whip_plans=whips)
    if tan_u is not None:
        fast = value("strobing_deg_s", 0.0)
        limit = degrees(2 * atan(tan_u)) / PAN_ACROSS_S
        if fast > limit:
            pans = {"strobing_deg_s": fast, "limit_deg_s": limit}
            add("strobing", "note", SEVEN_SECONDS, **pans)
    return tuple(found)
