"""What pictures of a take are drawn from: poses, figures, the stage and the lens.

Metres, Y up, the camera down its own -Z: the axes in which the page's script works.
Numbers are base64 of little-endian floats, 64 bits where a projection is checked.
"""

import json
from base64 import b64encode
from collections.abc import Sequence
from typing import Any

import numpy as np

from ...solver.action.body import EYES, LANDMARKS
from ...solver.arrays import FloatArray
from ...solver.crew.operator import SAFE
from ..job.rig import TrackRig
from .shown import Shown
from .stage import PlanStage, stage_of

MOST_PLAYED = 7200
"""Frames that a page plays, five minutes at 24; longer takes are exported."""

_MOST_RAIL = 13  # points of a curved rail that are drawn


def viewfinder_data(shown: Shown, people: Sequence[str] = ()) -> str:
    """Return the data of a take's viewfinder as JSON.

    Args:
        shown: the take.
        people: names of all subjects of the sequence, which gives each its shade.
    """
    base = _columns(shown, *"xyz")
    head = _columns(shown, *(f"{name}_deg" for name in ("pan", "tilt", "roll")))
    data = _data(shown, list(range(len(shown.frames))), people, bits=64)
    data |= {
        "first": int(shown.frames[0]),
        "base": packed(shown.metadata.world.inside(base), 64),
        "head": packed(np.radians(head), 64),
    }
    return _json(data)


def shot_script(shot: str, data: str) -> str:
    """Return a take's data as the file that the page of the cut runs."""
    return f"carrellataTake({json.dumps(shot)},{data});\n"


def poster_data(shown: Shown, rows: Sequence[int], people: Sequence[str] = ()) -> str:
    """Return the data of still frames of a take as JSON, a few hundred bytes each.

    Args:
        shown: the take.
        rows: of the frames, at least one.
        people: names of all subjects of the sequence, which gives each its shade.
    """
    data = _data(shown, list(rows), people, bits=32)
    return _json({**data, "frames": shown.frames[list(rows)].tolist()})


def _data(
    shown: Shown, rows: list[int], people: Sequence[str], *, bits: int
) -> dict[str, Any]:
    gate, world = shown.metadata.gate, shown.metadata.world
    aimed = _columns(shown, *(f"subject_{name}" for name in "xyz"))[rows]
    final = _columns(shown, *(f"cam_{name}" for name in "xyz"))[rows]
    turn = _columns(shown, *(f"q{name}" for name in "xyzw"))[rows]
    stage = stage_of(shown.metadata)
    low = min(float(body.floor[:, 2].min()) for body in shown.bodies)
    level = low if stage.ground is None else stage.ground
    names = [body.name for body in shown.bodies]
    order = list(dict.fromkeys([*people, *names]))
    return {
        "rate": [shown.rate.numerator, shown.rate.denominator],
        "count": len(rows),
        "bits": bits,
        "safe": SAFE,
        "body": {"eyes": EYES, "chin": LANDMARKS["chin"]},
        "tan_u": gate.tan_u,
        "tan_v": gate.tan_v,
        "axis_v": gate.axis_v,
        "ground": round(level, 4),
        **_stage(stage),
        "set": _set(shown, rows),
        "rail": _rail(shown, level),
        "final": packed(world.inside(final), bits),
        "turn": packed(world.inside_turns(turn), bits),
        "aimed": packed(world.inside(aimed), bits),
        "hidden": np.flatnonzero(np.isnan(shown.place[rows, 0])).tolist(),
        "followed": [names.index(shown.followed[row]) for row in rows],
        "figures": [
            {
                "name": body.name,
                "shade": order.index(body.name),
                "height": body.height_m,
                "floor": packed(_level(body.floor[rows]), 32),
                "eyes": packed(_level(body.eyes[rows]), 32),
                "facing": packed(np.radians(body.facing_deg[rows]), 32),
            }
            for body in shown.bodies
        ],
    }


def _stage(stage: PlanStage) -> dict[str, Any]:
    """Return the edges of the floor and of its holes, and keep-outs as boxes."""
    rings = () if stage.floor is None else (stage.floor, *stage.holes)
    floors = [(ring * [1.0, -1.0]).round(3).tolist() for ring in rings]
    boxes = []
    for each in stage.keep_outs:
        corners = _level(np.array([each.low, each.high])).round(3)
        boxes.append(
            {
                "name": each.name,
                "low": corners.min(axis=0).tolist(),
                "high": corners.max(axis=0).tolist(),
            }
        )
    return {"floors": floors, "boxes": boxes}


def _set(shown: Shown, rows: Sequence[int]) -> dict[str, Any] | None:
    """Return pieces of the set's edges, and which are seen at each row; None without.

    `key` (a number a row) says which of `seen` holds there.
    """
    told = shown.metadata.set
    if not told:
        return None
    since = shown.frames[list(rows)] - told["first"]
    keys = np.clip(np.round(since / told["every"]), 0, len(told["seen"]) - 1)
    used, key = np.unique(keys.astype(int), return_inverse=True)
    return {
        "edges": told["edges"],
        "seen": [told["seen"][k] for k in used.tolist()],
        "key": key.tolist(),
    }


def _rail(shown: Shown, level: float) -> list[float]:
    """Return points along the rail, three numbers each; none on sticks.

    It lies on the ground at its lower end, and rises as the lens does on it.
    """
    if len(shown.rail) < 2:
        return []
    rig, world = shown.metadata.setup.rig, shown.metadata.world
    rise = [0.0] * len(shown.rail)
    if isinstance(rig, TrackRig):
        c = 2 if world.up == "z" else 1
        ends = np.array([rig.from_[c], rig.to[c]]) * world.metres(1.0)
        rise = (ends - ends.min()).tolist()
    points = np.column_stack([shown.rail, level + np.array(rise)])
    every = -(-(len(points) - 1) // (_MOST_RAIL - 1))
    numbers: list[float] = _level(points[::every]).round(3).ravel().tolist()
    return numbers


def _columns(shown: Shown, *names: str) -> FloatArray:
    """Return columns of a take beside one another, (n, k)."""
    return np.array([shown.columns[name] for name in names], dtype=np.float64).T


def _level(points: FloatArray) -> FloatArray:
    """Return points in the axes of a plan as Y up."""
    return points[:, [0, 2, 1]] * [1.0, 1.0, -1.0]


def packed(values: FloatArray, bits: int) -> str:
    """Return numbers as base64 of little-endian floats of 32 or 64 bits."""
    form = "<f8" if bits == 64 else "<f4"
    return b64encode(np.ascontiguousarray(values, dtype=form).tobytes()).decode()


def _json(data: dict[str, Any]) -> str:
    # "<" never stands in the data, so nothing in a name can end the element.
    return json.dumps(data, separators=(",", ":")).replace("<", "\\u003c")
