"""Compiles and exercises all that a take needs as it is imported.

For the process that solving processes are forked from. Nothing else should import
this.
"""

import json
from typing import Any

from ...jobs.run.warm import warm_up
from .limits import Limits
from .problems import Refusal
from .results import JSON
from .rules import Rules
from .solving import solve_take

_FRAMES = list(range(1, 25))


def warm_job(**shot: Any) -> dict[str, Any]:
    """Return a small job of one shot whose setup is open but for what is given."""
    walk = {"frame": _FRAMES, "x": [0.06 * k for k in _FRAMES]}
    still = [0.0] * len(_FRAMES)
    subject = {"name": "walker", "at": "floor", "height_m": 1.75}
    setup = {"rig": {"kind": "choose"}, "lens_mm": "choose", "view": "choose"}
    return {
        "schema": "carrellata.job/1",
        "sequence": "warm",
        "rate": "24",
        "world": {"up": "y", "metres_per_unit": 1.0},
        "camera": {"film_back": "super35-4perf", "lens_kit_mm": [35, 50]},
        "defaults": {"framing": {"size": "full"}},
        "shots": [
            {
                "name": "warm",
                "frames": [_FRAMES[0], _FRAMES[-1]],
                "subjects": [subject | {"samples": walk | {"y": still, "z": still}}],
                **(setup | {"side": "choose", "height": "choose"} | shot),
            }
        ],
    }


def _exercise() -> None:
    """Solve an open shot and a fixed one, as a request would have it."""
    rules = Rules(project="", root=None, limits=Limits())
    rig = {"kind": "track", "from": [0, 1.5, 6], "to": [2, 1.5, 6]}
    fixed = warm_job(rig=rig, lens_mm=35, view=None, side=None, height=None)
    for job in (fixed, warm_job()):
        shot = {k: v for k, v in job["shots"][0].items() if v is not None}
        body = json.dumps(job | {"shots": [shot]}).encode()
        found = solve_take(body, rules, JSON)
        assert not isinstance(found, Refusal), found


warm_up()
_exercise()
