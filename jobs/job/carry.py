"""What a shot keeps from earlier solves: setup, locked take, accepted findings."""

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, WithJsonSchema

from .locations import shown
from .meanings import hint
from .quantities import Number, Spec, Text, refusal

MARGIN = 0.15

FINDING_NAMES = (
    "accepts_nothing",
    "adds_nothing",
    "angle_not_kept",
    "beat_missed",
    "breaks_cut_rule",
    "camera_seen",
    "close_to_lens",
    "crosses_in_shot",
    "crosses_line",
    "cut_not_read",
    "eye_jump",
    "head_cut",
    "hidden_behind",
    "intent_missed",
    "lens_run",
    "let_go",
    "limit_reached",
    "lock_broken",
    "near_axis",
    "no_cut",
    "out_of_safe",
    "refused_plans",
    "rig_in_keep_out",
    "rig_leaves_floor",
    "rig_off_floor",
    "rig_off_height",
    "same_side",
    "screen_direction",
    "sight_forbidden",
    "size_jump",
    "size_not_kept",
    "size_out_of_reach",
    "size_unchanged",
    "soft_focus",
    "strobing",
    "subject_hidden",
    "subject_lost",
    "subject_moved",
    "under_30_degrees",
    "unmatched_reverses",
    "unseen_frames",
    "whip_used",
)
"""Every finding that a shot or a cut can have."""


def _finding(value: Any) -> Any:
    if isinstance(value, str) and value in FINDING_NAMES:
        return value
    meant = hint(value, FINDING_NAMES)
    message = f'must name a finding such as "crosses_line", got {shown(value)}{meant}'
    raise refusal(message)


FindingName = Annotated[
    str, BeforeValidator(_finding), WithJsonSchema({"enum": list(FINDING_NAMES)})
]


class KeepSetupSpec(Spec):
    """Whether an earlier setup stays unless a new one is clearly better."""

    from_: Annotated[Literal["last", "none"], Field(alias="from")] = "last"
    """Whose setup is kept: that of the last take in the output folder, or none."""
    margin: Annotated[Number, Field(ge=0, le=1)] = MARGIN
    """Share of its score by which a new setup has to beat it."""


class AcceptSpec(Spec):
    """A finding that somebody has accepted, and why."""

    finding: FindingName
    """Of the shot, or of the cut into it."""
    reason: Annotated[Text, Field(min_length=1)]
    by: Annotated[Text, Field(min_length=1, max_length=200)]
    """Who accepts it."""


def _keep(value: Any) -> Any:
    """Turn false into the table that keeps no setup."""
    if value is False:
        return {"from": "none"}
    if isinstance(value, dict | KeepSetupSpec):
        return value
    message = f"must be a table or false, got {shown(value)}"
    raise refusal(message)


KeepSetup = Annotated[
    KeepSetupSpec,
    BeforeValidator(_keep, json_schema_input_type=KeepSetupSpec | Literal[False]),
]
