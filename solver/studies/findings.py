"""Findings of a studied camera: signs of how it was made, moves that no rig makes."""

from ..cuts.findings import OF_SHOT, THIS_TOOL, Finding, shot_findings
from ..measures.on_stage import Measures
from .limits import Peaks
from .study import NOT_FOLLOWING, RIGID, SMOOTHED, Study

AT_LIMIT = 1.02  # rounding makes this much of a limit that is used in full
FAR_OVER = 1.25  # times a limit: beyond what the choice of limits can excuse
LEAST_EARLY_FRAMES = 1.5
LIMITS = "limits of the crew it is held against"


def study_findings(study: Study) -> tuple[Finding, ...]:
    """Return the findings of a camera, the most severe first within each kind.

    Args:
        study: of the camera.
    """
    rate = study.camera.rate_hz
    found = [
        *_how_made(study, rate),
        *_early(study, rate),
        *_over(study),
        *_lens(study),
        *_framing(study),
    ]
    return tuple(found)


def _finding(
    name: str, severity: str, source: str = THIS_TOOL, **numbers: float | str
) -> Finding:
    return Finding(
        name=name,
        severity=severity,
        subject_of=OF_SHOT,
        numbers=numbers,
        source=source,
    )


def _how_made(study: Study, rate: float) -> list[Finding]:
    verdict = study.verdict
    if verdict.kind == SMOOTHED:
        ahead = verdict.ahead_s * rate
        return [_finding("reads_ahead", "fault", ahead_frames=ahead)]
    if verdict.kind == RIGID:
        late = (verdict.seconds or 0.0) * rate
        return [_finding("rigid_aim", "warning", late_frames=late)]
    if verdict.kind == NOT_FOLLOWING:
        return [_finding("not_following", "note", left_half_frames=verdict.left)]
    return []


def _early(study: Study, rate: float) -> list[Finding]:
    early = [one for one in study.lag.early if one.lead_s * rate >= LEAST_EARLY_FRAMES]
    return [
        _finding(
            "moves_early",
            "warning",
            lead_frames=one.lead_s * rate,
            from_s=one.start_s,
            to_s=one.end_s,
            by=one.by,
        )
        for one in early
    ]


def _over(study: Study) -> list[Finding]:
    out = []
    for channel, peaks in study.limits.items():
        for order in ("speed", "accel", "jerk"):
            used = getattr(peaks, f"{order}_used")
            if used is not None and used > AT_LIMIT:
                severity = "fault" if used > FAR_OVER else "warning"
                out.append(
                    _finding(
                        "over_limit",
                        severity,
                        LIMITS,
                        channel=channel,
                        order=order,
                        value=_value(peaks, order),
                        of_limit=used,
                    )
                )
    return out


def _value(peaks: Peaks, order: str) -> float:
    return float(getattr(peaks, order))


def _lens(study: Study) -> list[Finding]:
    lens = study.lens
    out = []
    if lens.drifts:
        out.append(
            _finding(
                "focal_drift", "warning", drift_mm=lens.drift_mm, focal_mm=lens.focal_mm
            )
        )
    if not lens.in_kit and lens.nearest_mm is not None:
        out.append(
            _finding(
                "lens_not_in_kit",
                "fault",
                focal_mm=lens.focal_mm,
                nearest_mm=lens.nearest_mm,
            )
        )
    if study.path.kind == "free":
        out.append(_finding("no_simple_path", "warning", left_m=study.path.left_m))
    return out


def _framing(study: Study) -> tuple[Finding, ...]:
    """Return the findings that solved shots have too, by the same rules."""
    framed = study.framed
    kept: Measures = {
        "seen": framed.seen,
        "in_frame": framed.in_frame,
        "in_safe": framed.in_safe,
    }
    return shot_findings(kept)
