"""A study as one flat row: numbers with their units, None where one means nothing."""

from typing import Any

from ...solver.studies.lag import Measured
from ...solver.studies.search import Found
from ...solver.studies.study import Study

_CHANNEL_UNITS = {
    "pan": ("deg_s", "deg_s2", "deg_s3"),
    "tilt": ("deg_s", "deg_s2", "deg_s3"),
    "dolly": ("m_s", "m_s2", "m_s3"),
}


def row_of(study: Study, rate: float) -> dict[str, Any]:
    """Return a study's numbers, flat and JSON-ready.

    Args:
        study: of one camera.
        rate: frames a second, by which delays are told in frames.
    """
    framed, lens, path = study.framed, study.lens, study.path
    verdict, shake, lag = study.verdict, study.shake, study.lag
    return {
        "seconds": study.camera.seconds,
        "made_by": verdict.kind,
        "made_by_why": verdict.why,
        "made_by_likewise": list(verdict.likewise),
        "made_by_frames": None if verdict.seconds is None else verdict.seconds * rate,
        "made_by_late_frames": verdict.late_s * rate,
        "ahead_frames": verdict.ahead_s * rate,
        "left_half_frames": verdict.left,
        "departure_half_frames": verdict.departure,
        **_measured("lag_correlation", lag.correlation, rate),
        **_measured("lag_coherence", lag.coherence.delay, rate),
        "lag_coherence_low_hz": lag.coherence.low_hz,
        "lag_coherence_high_hz": lag.coherence.high_hz,
        "crossover_rad_s": lag.coherence.crossover_rad_s,
        "effective_delay_s": lag.coherence.effective_delay_s,
        **_measured("lag_onset", lag.onset, rate),
        "early": [
            {
                "from_s": one.start_s,
                "to_s": one.end_s,
                "lead_frames": one.lead_s * rate,
                "by": one.by,
            }
            for one in lag.early
        ],
        "path": path.kind,
        "path_left_m": path.left_m,
        **{f"path_left_{name}_m": value for name, value in path.left.items()},
        "path_travel_m": path.travel_m,
        "wobble_m": path.wobble_m,
        "wobble_m2_s2": path.wobble_m2_s2,
        "parallax_percent": path.parallax_percent,
        "moving": list(path.moving),
        **{f"reversals_{name}": count for name, count in path.reversals.items()},
        **_limits(study),
        "focal_mm": lens.focal_mm,
        "focal_drift_mm": lens.drift_mm,
        "lens_in_kit": lens.in_kit,
        "size": framed.size,
        "body_share": framed.body_share,
        "size_spread": framed.size_spread,
        "looks_up_m": study.look.up,
        "looks_beside_m": study.look.beside,
        "u": framed.u,
        "v": framed.v,
        "seen": framed.seen,
        "in_frame": framed.in_frame,
        "in_safe": framed.in_safe,
        "body_in_frame": framed.body_in_frame,
        "drift_rms": framed.drift_rms,
        "drift_max": framed.drift_max,
        "distance_m": framed.distance_m,
        "shake_percent": shake.percent,
        "shake_low_percent": shake.low,
        "shake_high_percent": shake.high,
        "shake_floor_percent": shake.floor_percent,
        "shake_why_none": shake.why or None,
        "shake_level": shake.level,
        "shake_band_hz": None if shake.band_hz is None else list(shake.band_hz),
        "roll_rms_deg": shake.roll_deg,
        "noise_half_frames": study.camera.angle_noise,
        "operator": _crew(study.operator),
        "grip": _crew(study.grip),
        "tick_rate": None if study.tick_rate is None else str(study.tick_rate),
    }


def _measured(name: str, one: Measured, rate: float) -> dict[str, Any]:
    known = one.value is not None
    return {
        f"{name}_frames": one.value * rate if one.value is not None else None,
        f"{name}_spread_frames": None if one.spread is None else one.spread * rate,
        f"{name}_why_none": None if known else one.why,
    }


def _limits(study: Study) -> dict[str, Any]:
    out: dict[str, Any] = {}
    for channel, peaks in study.limits.items():
        orders = zip(("speed", "accel", "jerk"), _CHANNEL_UNITS[channel], strict=True)
        for order, unit in orders:
            out[f"{channel}_max_{order}_{unit}"] = getattr(peaks, order)
            out[f"{channel}_{order}_of_limit"] = getattr(peaks, f"{order}_used")
    return out


def _crew(found: Found | None) -> dict[str, Any] | None:
    if found is None:
        return None
    return {
        "based_on": found.trial.preset,
        "miss_rms": found.miss,
        "miss_median": found.typical,
        **{
            name: {"value": one.value, "low": one.low, "high": one.high}
            for name, one in found.ranges.items()
        },
    }
