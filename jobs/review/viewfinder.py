"""What the viewfinder plays: poses, figures and the lens, as data of the page.

Metres, Y up, the camera down its own -Z: the axes in which the page's script works.
Numbers are base64 of little-endian floats, 64 bits where a projection is checked.
"""

import json
from base64 import b64encode

import numpy as np

from ...solver.action.body import EYES, LANDMARKS
from ...solver.arrays import FloatArray
from .shown import Shown

MOST_PLAYED = 7200
"""Frames that a page plays, five minutes at 24; longer takes are exported."""


def viewfinder_data(shown: Shown) -> str:
    """Return the data of a take's viewfinder as JSON."""
    gate, world = shown.metadata.gate, shown.metadata.world
    aimed = _columns(shown, *(f"subject_{name}" for name in "xyz"))
    final = _columns(shown, *(f"cam_{name}" for name in "xyz"))
    turn = _columns(shown, *(f"q{name}" for name in "xyzw"))
    base = _columns(shown, *"xyz")
    head = _columns(shown, *(f"{name}_deg" for name in ("pan", "tilt", "roll")))
    low = min(float(body.floor[:, 2].min()) for body in shown.bodies)
    names = [body.name for body in shown.bodies]
    data = {
        "rate": [shown.rate.numerator, shown.rate.denominator],
        "first": int(shown.frames[0]),
        "count": len(shown.frames),
        "tan_u": gate.tan_u,
        "tan_v": gate.tan_v,
        "axis_v": gate.axis_v,
        "ground": low,
        "base": _packed(world.inside(base)),
        "head": _packed(np.radians(head)),
        "final": _packed(world.inside(final)),
        "turn": _packed(world.inside_turns(turn)),
        "aimed": _packed(world.inside(aimed)),
        "hidden": np.flatnonzero(np.isnan(shown.place[:, 0])).tolist(),
        "followed": [names.index(name) for name in shown.followed],
        "figures": [
            {
                "name": body.name,
                "height": body.height_m,
                "floor": _packed(_level(body.floor), "<f4"),
                "eyes": _packed(_level(body.eyes), "<f4"),
            }
            for body in shown.bodies
        ],
        "body": {"eyes": EYES, "shoulders": LANDMARKS["shoulders"]},
    }
    # "<" never stands in the data, so nothing in a name can end the element.
    return json.dumps(data, separators=(",", ":")).replace("<", "\\u003c")


def _columns(shown: Shown, *names: str) -> FloatArray:
    """Return columns of a take beside one another, (n, k)."""
    return np.array([shown.columns[name] for name in names], dtype=np.float64).T


def _level(points: FloatArray) -> FloatArray:
    """Return points in the axes of a plan as Y up."""
    return points[:, [0, 2, 1]] * [1.0, 1.0, -1.0]


def _packed(values: FloatArray, form: str = "<f8") -> str:
    return b64encode(np.ascontiguousarray(values, dtype=form).tobytes()).decode()
