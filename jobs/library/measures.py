"""The measures of a take as named values."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Self

from ..takes.sequence_table import MEASURES


@dataclass(frozen=True, kw_only=True, slots=True)
class TakeMeasures:
    """What a take is judged by, on the frames of the cut.

    Names end in their unit; shares are 0 to 1, `headroom` counts in frame heights and
    `drift` in half frames. None where a measure has no value: a pan that never moves
    has no ripple. What each means is said in `jobs/takes/README.md`.
    """

    frames: int | None = None
    seconds: float | None = None
    seen: float | None = None
    hidden: float | None = None
    head_in_frame: float | None = None
    others_in_frame: float | None = None
    headroom_p10: float | None = None
    headroom_p50: float | None = None
    headroom_p90: float | None = None
    in_frame: float | None = None
    body_in_frame: float | None = None
    in_safe: float | None = None
    size_kept: float | None = None
    angle_kept: float | None = None
    drift_rms: float | None = None
    drift_max: float | None = None
    onset_lag_s: float | None = None
    pan_ripple: float | None = None
    pan_ripple_deg_s: float | None = None
    tilt_ripple: float | None = None
    tilt_ripple_deg_s: float | None = None
    pan_overshoot_deg: float | None = None
    dolly_overshoot_m: float | None = None
    pan_decisions_per_s: float | None = None
    tilt_decisions_per_s: float | None = None
    dolly_decisions_per_s: float | None = None
    refused_plans: int | None = None
    whip_plans: int | None = None
    reversals: int | None = None
    pan_reversals: int | None = None
    tilt_reversals: int | None = None
    moving_axes: int | None = None
    dolly_m: float | None = None
    dolly_max_speed_m_s: float | None = None
    dolly_max_accel_m_s2: float | None = None
    pan_range_deg: float | None = None
    pan_max_speed_deg_s: float | None = None
    pan_max_accel_deg_s2: float | None = None
    pan_speed_used: float | None = None
    tilt_range_deg: float | None = None
    tilt_max_speed_deg_s: float | None = None
    closest_m: float | None = None
    asked_m: float | None = None
    nearest_m: float | None = None
    furthest_m: float | None = None
    rig_off_floor_m: float | None = None
    rig_off_height_m: float | None = None
    rig_step_m: float | None = None
    hidden_by: str | None = None
    sight_forbidden: str | None = None
    rig_through: str | None = None
    soft: float | None = None
    strobing_deg_s: float | None = None
    shake_pan_rms_deg: float | None = None
    shake_tilt_rms_deg: float | None = None

    @classmethod
    def of(cls, values: Mapping[str, Any]) -> Self:
        """Return the measures that a take or a row of a sequence has."""
        return cls(**{name: values.get(name) for name in MEASURES})

    def plain(self) -> dict[str, float | int | str | None]:
        """Return the measures by name."""
        return {name: getattr(self, name) for name in MEASURES}
