"""Whether a camera follows what is fast in its subject as a way of following would.

A way is judged by what is slow, where shake is silent. But exact aim carries the gait
and a lag some of it: where the camera has none of it, that is not how it was made. The
shake is the camera's own, so on average it neither adds to nor takes from that share.
"""

import numpy as np

from ..arrays import FloatArray
from .camera import CameraMove, smoothed

SLOW_S = 0.25
EDGE_S = 1.0
ALIKE_S = 0.1  # for so long errors are alike
OFF = 0.3  # share by which what is fast may be more or less than the way's
SURE = 4.0  # standard errors
LEAST = 5e-4  # half frames of fast motion that tell anything


def follows_fast(camera: CameraMove, angles: FloatArray) -> bool:
    """Tell whether the fast part of a way's angles is in the camera.

    Args:
        camera: what was moved.
        angles: of the way, (2, n) [rad].
    """
    cut = round(min(EDGE_S, camera.seconds / 8) * camera.rate_hz)
    both = np.stack([angles, camera.angles]) / camera.half[:, None]
    fast = both - smoothed(both, SLOW_S * camera.rate_hz)
    fast = fast[..., cut : both.shape[-1] - cut]
    for way, moved in zip(*fast, strict=True):
        power = float(way @ way)
        if power < LEAST**2 * len(way):
            continue
        share = float(way @ moved) / power
        left = float(np.mean((moved - share * way) ** 2))
        alike = max(1.0, ALIKE_S * camera.rate_hz)
        error = np.sqrt(left * alike / power)
        if abs(share - 1.0) > max(OFF, SURE * error):
            return False
    return True
