"""The framing of a take as an ASC framing decision list (FDL 2.0).

The canvas is what is rendered, the delivered gate with its overscan, on a raster of
100 pixels a millimetre of film; the framing decision is the delivered frame in it. The
physical size of the canvas stands beside it, in millimetres.

Source: ASC FDL 2.0, names and units of its fields.
"""

import json
from fractions import Fraction
from typing import Any
from uuid import UUID, uuid5

from ..takes.curves import Curves

PIXELS_A_MM = 100
_OURS = UUID("b3b9a0a4-6ac8-5d0c-8a3c-59a1d3a6f0c7")  # of no other meaning
_MOST_DENOMINATOR = 1000
_CANVAS = "rendered"


def framing_list_id(curves: Curves) -> UUID:
    """Return the name of a take's list: the same shot and gate have the same."""
    gate = curves.gate
    said = (gate.width_mm, gate.height_mm, gate.squeeze, gate.overscan, gate.axis_v)
    return uuid5(_OURS, f"{curves.sequence} {curves.shot} {said}")


def framing_list(curves: Curves) -> str:
    """Return the list of a take as JSON."""
    gate = curves.gate
    ratio = Fraction(gate.aspect).limit_denominator(_MOST_DENOMINATOR)
    intent = f"delivery_{ratio.numerator}_{ratio.denominator}"
    frame = (gate.width_mm * PIXELS_A_MM, gate.height_mm * PIXELS_A_MM)
    # A canvas has whole pixels, and is never smaller than the frame.
    width, height = (int(-(-round(side * gate.overscan, 6) // 1)) for side in frame)
    decision = {
        "label": curves.shot,
        "id": f"{_CANVAS}-{intent}",
        "framing_intent_id": intent,
        "dimensions": {"width": frame[0], "height": frame[1]},
        "anchor_point": {"x": (width - frame[0]) / 2, "y": (height - frame[1]) / 2},
    }
    canvas = {
        "label": "rendered, with overscan",
        "id": _CANVAS,
        "source_canvas_id": _CANVAS,
        "dimensions": {"width": width, "height": height},
        "physical_dimensions": {
            "width": width / PIXELS_A_MM,
            "height": height / PIXELS_A_MM,
        },
        "anamorphic_squeeze": gate.squeeze,
        "framing_decisions": [decision],
    }
    whole: dict[str, Any] = {
        "uuid": str(framing_list_id(curves)),
        "version": {"major": 2, "minor": 0},
        "fdl_creator": "carrellata",
        "default_framing_intent": intent,
        "framing_intents": [
            {
                "label": f"{gate.aspect:.2f} : 1",
                "id": intent,
                "aspect_ratio": {"width": ratio.numerator, "height": ratio.denominator},
                "protection": 0.0,
            }
        ],
        "contexts": [
            {
                "label": curves.shot,
                "context_creator": "carrellata",
                "clip_id": {"clip_name": f"{curves.sequence}_{curves.shot}"},
                "canvases": [canvas],
            }
        ],
    }
    return json.dumps(whole, indent=2, allow_nan=False) + "\n"
