"""A take as OpenTrackIO samples: lens and camera metadata, one JSON object a line.

Metres and degrees, right-handed, Z up; Y is ahead at zero pan, tilt and roll, which
turn about Z, X and Y in this order by the right hand. A sample's transform is the
lens's entrance pupil, as everywhere here, so the entrance pupil offset is 0. The focal
length does not breathe, so the pinhole's is the marked one. The sensor is what is
rendered: the delivered gate with its overscan.

Source: OpenTrackIO 1.0.1 (SMPTE RIS OSVP), names, units and axes of its fields.
"""

import json
from fractions import Fraction
from typing import Any
from uuid import UUID, uuid5

import numpy as np

from ..job.timecode import frame_of_label, is_drop_frame, label_of_frame
from ..job.world import scene_from_inside
from ..takes.curves import Curves
from ..takes.sequence_table import CutClock
from .csv_table import final_angles_deg
from .framing_list import framing_list_id

PROTOCOL = {"name": "OpenTrackIO", "version": [1, 0, 1]}
_OURS = UUID("6f1f8c5e-4d0b-5f37-9a52-0d4f5b0b7a11")  # of no other meaning
_MOST_DENOMINATOR = 10_000


def opentrackio_lines(curves: Curves, clock: CutClock) -> str:
    """Return the samples of a take, a JSON object a line.

    Args:
        curves: the take.
        clock: of its sequence, which gives timecode; without it samples have none.
    """
    static, lens = _static(curves), _lens(curves)
    place = scene_from_inside(curves.place_m, "z")
    pan, tilt, roll = final_angles_deg(curves).T
    # Ours rolls about the way back, theirs about the way ahead.
    angles = np.column_stack([pan, tilt, -roll])
    rate = curves.rate * (int(curves.sub.max()) + 1)
    source = _urn(f"{curves.sequence} {curves.shot}")
    lines = []
    for k in range(len(curves.frame)):
        frame, sub = int(curves.frame[k]), int(curves.sub[k])
        timecode = _timecode(curves, clock, frame, sub)
        sample = {
            "protocol": PROTOCOL,
            "sampleId": _urn(f"{curves.take_key} {frame} {sub}"),
            "sourceId": source,
            "sourceNumber": 0,
            "static": static,
            "tracker": {"slate": f"{curves.sequence}_{curves.shot}"},
            "timing": {
                "mode": "external",
                "sampleRate": _ratio(rate),
                "sequenceNumber": k,
                **({} if timecode is None else {"timecode": timecode}),
            },
            "lens": {**lens, "focusDistance": float(curves.focus_m[k])},
            "transforms": [
                {
                    "id": "Camera",
                    "translation": _named("xyz", place[k].tolist()),
                    "rotation": _named(("pan", "tilt", "roll"), angles[k].tolist()),
                }
            ],
        }
        lines.append(json.dumps(sample, separators=(",", ":"), allow_nan=False))
    return "\n".join(lines) + "\n"


def _static(curves: Curves) -> dict[str, Any]:
    gate = curves.gate
    return {
        "duration": _ratio(Fraction(curves.cut[1] - curves.cut[0] + 1) / curves.rate),
        "camera": {
            "captureFrameRate": _ratio(curves.rate),
            "activeSensorPhysicalDimensions": {
                "width": gate.width_mm * gate.overscan,
                "height": gate.height_mm * gate.overscan,
            },
            "anamorphicSqueeze": _ratio(Fraction(gate.squeeze)),
            "shutterAngle": curves.shutter_deg,
            "fdlLink": f"urn:uuid:{framing_list_id(curves)}",
        },
        "lens": {"nominalFocalLength": curves.focal_mm},
    }


def _lens(curves: Curves) -> dict[str, Any]:
    gate = curves.gate
    return {
        "pinholeFocalLength": curves.focal_mm,
        "fStop": curves.stop,
        "entrancePupilOffset": 0.0,
        "projectionOffset": {"x": 0.0, "y": gate.axis_v * gate.height_mm / 2},
    }


def _timecode(
    curves: Curves, clock: CutClock, frame: int, sub: int
) -> dict[str, Any] | None:
    record = clock.record(curves.shot, frame)
    if clock.timecode is None or record is None:
        return None
    count = frame_of_label(clock.timecode, curves.rate) + record
    if count < 0:
        return None
    label = label_of_frame(count, curves.rate)
    hours, minutes, seconds, frames = map(int, label.replace(";", ":").split(":"))
    return {
        "hours": hours,
        "minutes": minutes,
        "seconds": seconds,
        "frames": frames,
        "frameRate": _ratio(curves.rate),
        "subFrame": sub,
        "dropFrame": is_drop_frame(clock.timecode),
    }


def _ratio(value: Fraction) -> dict[str, int]:
    near = value.limit_denominator(_MOST_DENOMINATOR)
    return {"num": near.numerator, "denom": near.denominator}


def _named(names: Any, values: list[float]) -> dict[str, float]:
    return {name: value + 0.0 for name, value in zip(names, values, strict=True)}


def _urn(name: str) -> str:
    return f"urn:uuid:{uuid5(_OURS, name)}"
