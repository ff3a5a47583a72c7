"""Describes a take for the metadata of its file."""

from collections.abc import Mapping, Sequence
from math import degrees

import numpy as np

from ...solver.action.claim import ClaimOutcome
from ...solver.arrays import FloatArray
from ...solver.crew.knots import channel_knots
from ...solver.cuts.end import ShotEnds
from ...solver.measures.on_stage import Measures
from ...solver.presets import Crew
from ...solver.take import Take
from ..job.shot import ShotSpec
from ..job.spec import JobFile
from .grip_metadata import sheet_metadata
from .keys import Keys, plain_fields, setup_of
from .metadata import CrewNumbers, ShotBrief, TakeGate, TakeMetadata
from .set_metadata import set_metadata

_LATER = ("set", "floor_holes")
"""Fields of a stage that are only written where the job gives them."""


def described(
    take: Take,
    *,
    job: JobFile,
    spec: ShotSpec,
    keys: Keys,
    units: Mapping[str, str],
    measures: Measures,
    ends: ShotEnds,
    outcomes: Sequence[ClaimOutcome] = (),
) -> TakeMetadata:
    """Return the metadata of a take.

    Args:
        take: as operated, Y up in metres and radians.
        job: gives the rate, axes and units.
        spec: the shot.
        keys: digests of what the take was made from.
        units: of the columns, by name.
        measures: of the take, flat, finite.
        ends: of the take's cut.
        outcomes: of the shot's claims.
    """
    return TakeMetadata(
        keys=keys,
        model=job.model,
        rate=job.rate,
        world=job.world,
        units=units,
        setup=setup_of(spec),
        gate=_gate(take),
        rail=take.shot.rig,
        knots=_knots(take),
        crew=_crew(take.shot.crew),
        asked=_asked(spec),
        grip_sheet=sheet_metadata(take, spec.stage, job.world),
        ends=ends,
        measures=measures,
        claims=tuple(each.plain() for each in outcomes),
        set=set_metadata(take),
        status="solved",  # must not depend on the run, so that bytes do not
    )


def _gate(take: Take) -> TakeGate:
    gate, focal_mm = take.shot.gate, take.shot.lens.focal_mm
    tan_u, tan_v = gate.half_tangents(focal_mm)
    render_u, render_v = gate.overscanned(focal_mm)
    return TakeGate(
        **plain_fields(gate),
        tan_u=tan_u,
        tan_v=tan_v,
        render_tan_u=render_u,
        render_tan_v=render_v,
    )


def _knots(take: Take) -> dict[str, FloatArray]:
    """Return each channel's knots, (k, 3): time [s], value, speed in its column's unit.

    Between two of them the channel is the cubic of their values and speeds.
    """
    first, last = float(take.times_s[0]), float(take.times_s[-1])
    turns = {"pan_deg": take.pan_plans, "tilt_deg": take.tilt_plans}
    scale = np.array([1.0, degrees(1.0), degrees(1.0)])
    return {
        "rail_m": channel_knots(take.dolly_plans, first, last),
        **{
            name: channel_knots(plans, first, last) * scale
            for name, plans in turns.items()
        },
    }


def _asked(spec: ShotSpec) -> ShotBrief:
    lens = spec.camera.lens(spec.fixed_lens_mm)
    return ShotBrief(
        frames=spec.frames,
        handles=spec.handles,
        samples_per_frame=spec.samples_per_frame,
        framing=spec.framing.model_dump(mode="json"),
        cues=tuple(cue.model_dump(mode="json") for cue in spec.cues),
        shake=spec.shake.model_dump(mode="json"),
        stage=spec.stage.model_dump(
            mode="json",
            by_alias=True,
            exclude={name for name in _LATER if not getattr(spec.stage, name)},
        ),
        coc_mm=spec.camera.coc_mm,
        shutter_deg=spec.camera.shutter_deg,
        close_focus_m=lens.close_focus_m,
        take=spec.take or 1,
    )


def _crew(crew: Crew) -> CrewNumbers:
    operator = plain_fields(crew.operator)
    for name in ("max_speed", "max_accel", "max_jerk"):
        operator[name] = degrees(operator[name])
    return CrewNumbers(
        preset=crew.preset,
        operator=operator,
        grip=plain_fields(crew.grip),
        puller=plain_fields(crew.puller),
        focus_method=crew.focus_method,
        variability=crew.variability,
    )
