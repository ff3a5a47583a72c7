"""A head in the frame: crown, chin and both sides, in the final, shaken picture.

Crown and chin stand on the line from floor to eyes at their shares of stature. The
sides are half a head's breadth to the right and to the left of the eyes.
"""

import numpy as np

from ..action.acted import acted_point, sample_before
from ..action.body import EYES, LANDMARKS
from ..arrays import BEFORE, FloatArray
from ..compiled.kernel import kernel
from .projection import from_lens, on_screen, shaken, turn_of

CROWN = 1.0 / EYES
CHIN = LANDMARKS["chin"] / EYES  # shares of the way from floor to eyes
HALF_BREADTH_M = 0.076  # head breadth of ANSUR II, mean of men and women, from memory
UNCUT = 1.0 - 1e-9  # a span whose top is as high as this has the crown in it


@kernel
def head_on_screen(floor, eyes, screen):
    """Return crown u, v, chin u, v, whether the head is in frame, and the eyes.

    `floor` and `eyes` are points in the axes of the final camera. The last is what is
    left to ask for where a size cuts the crown: the eyes and both sides.
    """
    along = (eyes[0] - floor[0], eyes[1] - floor[1], eyes[2] - floor[2])
    crown_u, crown_v = on_screen(
        floor[0] + CROWN * along[0],
        floor[1] + CROWN * along[1],
        floor[2] + CROWN * along[2],
        screen,
    )
    chin_u, chin_v = on_screen(
        floor[0] + CHIN * along[0],
        floor[1] + CHIN * along[1],
        floor[2] + CHIN * along[2],
        screen,
    )
    left_u, eyes_v = on_screen(eyes[0] - HALF_BREADTH_M, eyes[1], eyes[2], screen)
    right_u, _ = on_screen(eyes[0] + HALF_BREADTH_M, eyes[1], eyes[2], screen)
    eyes_out = max(max(abs(left_u), abs(right_u)), abs(eyes_v))
    out = max(max(abs(crown_u), abs(crown_v)), max(abs(chin_u), abs(chin_v)))
    return crown_u, crown_v, chin_u, chin_v, max(out, eyes_out) <= 1, eyes_out <= 1


@kernel
def head_kept(whole, eyes_in, top):
    """Tell whether a head is held as a size asks that shows the body up to `top`."""
    return whole if top >= UNCUT else eyes_in


@kernel
def keep_heads(who, camera, screen, tops, mine, kept):
    """Clear `kept` (n,) at samples of `mine` where a subject's head is not held.

    Args:
        who: the subject's `ActedSamples`.
        camera: the `look.CameraTrack`.
        screen: the `Screen`.
        tops: upper end of the span asked for at each sample, of stature, (n,).
        mine: samples at which the subject must be held, (n,).
        kept: (n,).
    """
    before = BEFORE
    for i in range(mine.shape[0]):
        if not mine[i]:
            continue
        now = camera.times_s[i]
        before = sample_before(who.times_s, before, now)
        place = (camera.base[i, 0], camera.base[i, 1], camera.base[i, 2])
        turn = turn_of(camera.pan[i, 0], camera.tilt[i, 0], camera.roll_rad)
        floor = from_lens(acted_point(who, before, now, 0.0), place, turn)
        eyes = from_lens(acted_point(who, before, now, 1.0), place, turn)
        floor, eyes = shaken(floor, camera.shaking, i), shaken(eyes, camera.shaking, i)
        _, _, _, _, whole, eyes_in = head_on_screen(floor, eyes, screen)
        if not head_kept(whole, eyes_in, tops[i]):
            kept[i] = False


def headroom_of(crown_v: FloatArray) -> FloatArray:
    """Return the room over a crown, a share of the frame height; NaN if not ahead."""
    room: FloatArray = np.where(np.isfinite(crown_v), (1.0 - crown_v) / 2.0, np.nan)
    return room
