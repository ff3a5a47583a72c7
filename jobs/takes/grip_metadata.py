"""The grip's sheet as it stands in a take's metadata: plain, in metres and degrees."""

from math import degrees
from typing import Any

from ...solver.grip_sheet import WORKING_MARGIN_M, GripSheet, grip_sheet
from ...solver.measures.on_stage import taken_out
from ...solver.take import Take
from ..job.stage import StageSpec
from ..job.world import WorldSpec

NOTICE = "planning estimates, not clearances"


def sheet_metadata(take: Take, stage: StageSpec, world: WorldSpec) -> dict[str, Any]:
    """Return the sheet of a take as it stands in its metadata.

    Lengths are rounded to a centimetre, speeds to a centimetre a second, angles to a
    tenth of a degree; `ends_m` are scene axes, in metres.
    """
    sheet = grip_sheet(
        take, section_m=stage.section_m, ground_m=world.metres(stage.ground)
    )
    ends = world.ahead(sheet.ends)
    gone = taken_out(take)
    return {
        **({"taken_out": list(gone)} if gone else {}),
        "notice": NOTICE,
        "rig": sheet.rig,
        "track": None if sheet.rail_m == 0.0 else _track(sheet),
        "ends_m": [[_length(x) for x in end] for end in ends.tolist()],
        "height_m": [_length(h) for h in sheet.heights_m],
        "marks": [
            {
                "what": mark.what,
                "frame": mark.frame,
                "rail_m": _length(mark.rail_m),
                "height_m": _length(mark.height_m),
                "focus_m": _length(mark.focus_m),
            }
            for mark in sheet.marks
        ],
        "max_speed_m_s": _length(sheet.max_speed_m_s),
        "max_accel_m_s2": _length(sheet.max_accel_m_s2),
        "closest": {
            "subject": sheet.closest.subject,
            "frame": sheet.closest.frame,
            "distance_m": _length(sheet.closest.distance_m),
        },
        "pan_deg": [round(degrees(a), 1) for a in sheet.pan_rad],
        "tilt_deg": [round(degrees(a), 1) for a in sheet.tilt_rad],
        "space_m": [_length(side) for side in sheet.space_m],
        "margin_m": WORKING_MARGIN_M,
    }


def _track(sheet: GripSheet) -> dict[str, Any]:
    before, beyond = sheet.beyond_m
    return {
        "setup_m": _length(sheet.rail_m),
        "used_m": _length(sheet.used_m),
        "laid_m": sheet.laid_m,
        "from_m": sheet.laid[0],
        "run_up_m": _length(sheet.run_up_m),
        "run_out_m": _length(sheet.run_out_m),
        "before_m": _length(before),
        "beyond_m": _length(beyond),
        "section_m": sheet.section_m,
        "sections": sheet.sections,
        "radius_m": _length(sheet.radius_m),
        "sweep_deg": round(degrees(sheet.sweep_rad), 1),
        "rise_m": _length(sheet.rise_m),
    }


def _length(metres: float) -> float:
    # Adding zero turns -0.0 into 0.0.
    return round(float(metres), 2) + 0.0
