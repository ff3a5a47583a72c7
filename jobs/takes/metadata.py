"""What a take's table says of itself beside its columns: one JSON object."""

from collections.abc import Mapping
from dataclasses import asdict, fields
from math import degrees
from typing import Any

import numpy as np

from ...solver.crew.knots import channel_knots
from ...solver.crew.member import Crew, Member
from ...solver.cuts.end import ShotEnds
from ...solver.frame.measure import Measures
from ...solver.take import Take
from ..job.rate import rate_text
from ..job.shot import ShotSpec
from ..job.spec import JobFile
from ..job.world import WorldSpec
from .grip_metadata import sheet_metadata
from .keys import Keys, canonical, setup_of

TAKE_SCHEMA = "carrellata.take/1"


def metadata_json(
    take: Take,
    *,
    job: JobFile,
    spec: ShotSpec,
    keys: Keys,
    units: Mapping[str, str],
    measures: Measures,
    ends: ShotEnds,
    status: str,
) -> str:
    """Return the text of a take's metadata.

    Args:
        take: as operated, Y up in metres and radians.
        job: gives the rate, axes and units.
        spec: the shot.
        keys: digests of what the take was made from.
        units: of the columns, by name.
        measures: of the take, flat, finite.
        ends: of the take's cut.
        status: see `takes.take_rows`.
    """
    return canonical(
        {
            "schema": TAKE_SCHEMA,
            "keys": asdict(keys),
            "model": job.model,
            "rate": rate_text(job.rate),
            "axes": _axes(job.world),
            "units": units,
            "setup": setup_of(spec),
            "gate": _gate(take),
            "rail": _rail(take, job.world),
            "knots": _knots(take),
            "crew": _crew(take.shot.crew),
            "asked": _asked(spec),
            "grip_sheet": sheet_metadata(take, spec.stage, job.world),
            "ends": ends.plain(),
            "measures": measures,
            "status": status,
        }
    )


def _gate(take: Take) -> dict[str, float]:
    """Return the film area and the half angles' tangents that the lens gives on it.

    `tan_u` and `tan_v` bound the delivered frame, by which framing is judged;
    `render_tan_u` and `render_tan_v` the picture with its overscan. A point at height
    v over the lens axis stands at v + `axis_v` in the frame.
    """
    gate, focal_mm = take.shot.gate, take.shot.lens.focal_mm
    tan_u, tan_v = gate.half_tangents(focal_mm)
    render_u, render_v = gate.overscanned(focal_mm)
    return {
        **asdict(gate),
        "tan_u": tan_u,
        "tan_v": tan_v,
        "render_tan_u": render_u,
        "render_tan_v": render_v,
    }


def _rail(take: Take, world: WorldSpec) -> dict[str, Any]:
    """Return where the lens can be, as `rail_m` runs from 0 to `length_m`.

    `origin` is the place at 0 (sticks, track) or an arc's centre at lens height, in
    scene axes and units; `direction` a track's unit vector in scene axes; `turn` is 1
    for an arc that runs counter-clockwise seen from above, and -1 for the other.
    """
    shape = take.shot.rig.shape
    return {
        "kind": take.shot.rig.kind,
        "length_m": shape.length,
        "origin": world.scene(shape.origin[None])[0].tolist(),
        "direction": world.ahead(shape.direction[None])[0].tolist(),
        "radius_m": shape.radius,
        "start_deg": degrees(shape.start),
        "turn": shape.turn,
    }


def _knots(take: Take) -> dict[str, list[list[float]]]:
    """Return each channel's knots, [time_s, value, speed] in its column's unit.

    Between two of them the channel is the cubic of their values and speeds.
    """
    first, last = float(take.times_s[0]), float(take.times_s[-1])
    rail = channel_knots(take.dolly_plans, first, last)
    turns = {"pan_deg": take.pan_plans, "tilt_deg": take.tilt_plans}
    scale = np.array([1.0, degrees(1.0), degrees(1.0)])
    return {
        "rail_m": rail.tolist(),
        **{
            name: (channel_knots(plans, first, last) * scale).tolist()
            for name, plans in turns.items()
        },
    }


def _asked(spec: ShotSpec) -> dict[str, Any]:
    """Return what the job asks of the picture, and of the lens and the film."""
    lens = spec.camera.lens(spec.fixed_lens_mm)
    return {
        "frames": spec.frames,
        "handles": spec.handles,
        "samples_per_frame": spec.samples_per_frame,
        "framing": spec.framing.model_dump(mode="json"),
        "cues": [cue.model_dump(mode="json") for cue in spec.cues],
        "shake": spec.shake.model_dump(mode="json"),
        "coc_mm": spec.camera.coc_mm,
        "shutter_deg": spec.camera.shutter_deg,
        "close_focus_m": lens.close_focus_m,
        "stage": spec.stage.model_dump(mode="json", by_alias=True),
    }


def _axes(world: WorldSpec) -> dict[str, Any]:
    return {
        "up": world.up,
        "handed": "right",
        "metres_per_unit": world.metres_per_unit,
        "camera": "looks down its own -Z, +Y up, +X right",
        "quaternion": "x y z w, scene from camera",
        "pan_zero": "-z" if world.up == "y" else "+y",
        "pan_positive": "counter-clockwise seen from above",
    }


def _crew(crew: Crew) -> dict[str, Any]:
    """Return the crew's numbers in the units of the job file."""
    operator = _numbers(crew.operator)
    for name in ("max_speed", "max_accel", "max_jerk"):
        operator[name] = degrees(operator[name])
    return {
        "preset": crew.preset,
        "operator": operator,
        "grip": _numbers(crew.grip),
        "puller": _numbers(crew.puller),
        "focus_method": crew.focus_method,
    }


def _numbers(member: Member) -> dict[str, Any]:
    return {each.name: getattr(member, each.name) for each in fields(member)}
