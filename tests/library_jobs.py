"""Jobs as a script writes them: tables in Python, samples in memory."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

N_FRAMES = 48
FIRST = 1001


def way(n_frames: int = N_FRAMES) -> NDArray[np.float64]:
    """Return a walk along X at 1.3 m/s, (n, 3) [m], Y up."""
    points = np.zeros((n_frames, 3))
    points[:, 0] = 1.3 * np.arange(n_frames) / 24
    points[:, 2] = 0.2 * np.sin(np.arange(n_frames) / 9)
    return points


def columns(n_frames: int = N_FRAMES) -> dict[str, Any]:
    """Return the walk as plain lists."""
    points = way(n_frames)
    return {
        "frame": list(range(FIRST, FIRST + n_frames)),
        **{name: points[:, c].tolist() for c, name in enumerate("xyz")},
    }


def one_shot(samples: Any, *, n_frames: int = N_FRAMES, **shot: Any) -> dict[str, Any]:
    """Return a job of one shot on a given rig."""
    return {
        "schema": "carrellata.job/1",
        "sequence": "first",
        "rate": "24",
        "world": {"up": "y", "metres_per_unit": 1},
        "camera": {"film_back": "super35-4perf", "lens_kit_mm": [35, 50]},
        "shots": [
            {
                "name": "010",
                "frames": [FIRST, FIRST + n_frames - 1],
                "subjects": [
                    {
                        "name": "walker",
                        "at": "floor",
                        "height_m": 1.75,
                        "samples": samples,
                    }
                ],
                "framing": {"size": "full"},
                "lens_mm": 50,
                "rig": {"kind": "track", "from": [0, 1.5, 8], "to": [2.6, 1.5, 8]},
                **shot,
            }
        ],
    }
