"""A low-pass follow in plain numpy on the same shots: what a script would do.

The camera looks at the person and rides beside them; each channel is smoothed by a
window of half a second, forwards and backwards in time. No limit is kept, nothing is
decided, and the camera moves before the person does. It is here for scale only.
"""

import numpy as np
from numpy.typing import NDArray

from carrellata.solver.measures.measure import measure
from carrellata.solver.shot import Shot
from carrellata.solver.take import operate

from .clock import medians, paired, ratio
from .figures import Figure, Sizes
from .takes import CALLS, shots

FloatArray = NDArray[np.float64]
WINDOW = np.hanning(13 + 2)[1:-1] / np.hanning(13 + 2)[1:-1].sum()


def smooth(values: FloatArray) -> FloatArray:
    """Return values (n,) under the window, the ends held."""
    padded = np.pad(values, len(WINDOW) // 2, mode="edge")
    return np.convolve(padded, WINDOW, mode="valid")


def follow(shot: Shot) -> tuple[FloatArray, ...]:
    """Return rail, pan, tilt and focus of a smoothed follow, each (n,)."""
    floor = shot.subjects[0].floor
    shape = shot.rig.shape
    rail = smooth(np.clip((floor - shape.origin) @ shape.direction, 0, shape.length))
    place = shape.origin + rail[:, None] * shape.direction
    way = floor + np.array([0.0, 1.0, 0.0]) - place
    pan = smooth(np.unwrap(np.arctan2(-way[:, 0], -way[:, 2])))
    level = np.hypot(way[:, 0], way[:, 2])
    tilt = smooth(np.arctan2(way[:, 1], level))
    return rail, pan, tilt, smooth(np.hypot(level, way[:, 1]))


def run(sizes: Sizes) -> list[Figure]:
    """Time the follow beside whole takes of the same shots."""
    cast = shots(CALLS)
    times = paired(
        {
            "follow": lambda: [follow(one) for one in cast],
            "take": lambda: [measure(operate(one)) for one in cast],
        },
        sizes.takes,
    )
    return [
        Figure(
            name="low_pass_follow_ms",
            value=medians(times)["follow"] / CALLS * 1e3,
            unit="ms",
            better="",
            note="four smoothed channels, 120 frames",
        ),
        Figure(
            name="take_over_low_pass_follow",
            value=ratio(times, "take", "follow"),
            unit="x",
        ),
    ]
