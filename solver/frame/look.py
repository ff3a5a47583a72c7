"""What the frame shows of the primary subject, sample by sample; see `Take`."""

from typing import NamedTuple

import numpy as np

from ..action.acted import ActedSamples, acted_point, hidden_now, sample_before
from ..arrays import BEFORE, BoolArray, FloatArray, IntArray
from ..compiled.kernel import kernel
from ..crew.operator import SAFE
from .head import head_kept, head_on_screen
from .projection import (
    Screen,
    Shaking,
    from_lens,
    on_screen,
    shaken,
    span_on_screen,
    turn_of,
)

AIM, TOP, LOW = range(3)  # columns of the body points that are looked at
U, V, SIZE, CROWN_U, CROWN_V, CHIN_U, CHIN_V = range(7)
N_PLACES = 7
SOFT, IN_FRAME, BODY_IN, SAFE_IN, HEAD_IN, HEAD_HELD = range(6)
N_FLAGS = 6


class SubjectData(NamedTuple):
    """One subject as it is to be seen.

    Attributes:
        who: its samples that show it.
        times_s: of all its samples, (m,) [s].
        visible: samples at which it can be seen, (m,), as in `Subject`.
        step_s: between its samples, the median.
    """

    who: ActedSamples
    times_s: FloatArray
    visible: BoolArray
    step_s: float


class CameraTrack(NamedTuple):
    """A camera at n samples.

    `base` (n, 3) is the lens without shake [m]; `pan` and `tilt` are (n, 3), the angle
    first [rad]; `focus_m` (n,).
    """

    times_s: FloatArray
    base: FloatArray
    pan: FloatArray
    tilt: FloatArray
    roll_rad: float
    shaking: Shaking
    focus_m: FloatArray


class ThroughLens(NamedTuple):
    """Through which lens: the `Screen`, focal length and hyperfocal distance [m]."""

    screen: Screen
    focal_m: float
    reach_m: float


class LookedFor(NamedTuple):
    """What is looked at, sample by sample.

    Attributes:
        mine: samples of which the subject is the primary, (n,).
        behind: samples at which something stands before it, (n,).
        framing: index of the framing in force, (n,).
        fractions: AIM, TOP and LOW of each framing, floor to eyes, (n_framings, 3).
        tops: upper end of each framing's span, of stature, (n_framings,).
    """

    mine: BoolArray
    behind: BoolArray
    framing: IntArray
    fractions: FloatArray
    tops: FloatArray


class LookRows(NamedTuple):
    """What is filled: limits of sharpness [m] (2, n), places and flags by names."""

    limits: FloatArray
    places: FloatArray
    flags: BoolArray


@kernel
def sharp_between(focal, reach, focus):
    """Return near and far limit of sharpness [m], as `lens.depth_of_field_m`."""
    dioptres = 1.0 / focus
    margin = reach * dioptres - 1.0
    near = (reach - focal) / (1.0 + (reach - 2.0 * focal) * dioptres)
    return near, (reach - focal) / margin if margin > 0.0 else np.inf


@kernel
def look(data, wanted, camera, through, shown):
    """Fill what is shown at the samples of which one subject is the primary.

    U, V, SIZE and the first flags are of the base camera, what is said of the head of
    the final one.
    """
    before = last = BEFORE
    screen, places, flags = through.screen, shown.places, shown.flags
    for i in range(camera.times_s.shape[0]):
        if not wanted.mine[i]:
            continue
        now = camera.times_s[i]
        near, far = sharp_between(through.focal_m, through.reach_m, camera.focus_m[i])
        shown.limits[0, i], shown.limits[1, i] = near, far
        last = sample_before(data.times_s, last, now + 1e-9)
        unseen = hidden_now(data.times_s, data.visible, data.step_s, last, now)
        if unseen or wanted.behind[i]:
            for c in range(N_PLACES):
                places[c, i] = np.nan
            for c in range(N_FLAGS):
                flags[c, i] = False
            continue
        before = sample_before(data.who.times_s, before, now)
        at = wanted.framing[i]
        place = (camera.base[i, 0], camera.base[i, 1], camera.base[i, 2])
        turn = turn_of(camera.pan[i, 0], camera.tilt[i, 0], camera.roll_rad)
        share = wanted.fractions[at, AIM]
        x, y, z = from_lens(acted_point(data.who, before, now, share), place, turn)
        u, v = on_screen(x, y, z, screen)
        share = wanted.fractions[at, TOP]
        top = from_lens(acted_point(data.who, before, now, share), place, turn)
        share = wanted.fractions[at, LOW]
        low = from_lens(acted_point(data.who, before, now, share), place, turn)
        places[U, i], places[V, i] = u, v
        places[SIZE, i], furthest = span_on_screen(top, low, screen)
        floor = from_lens(acted_point(data.who, before, now, 0.0), place, turn)
        eyes = from_lens(acted_point(data.who, before, now, 1.0), place, turn)
        off = max(abs(u), abs(v))
        flags[SOFT, i] = -eyes[2] < near or -eyes[2] > far
        flags[IN_FRAME, i] = off <= 1
        flags[BODY_IN, i] = off <= 1 and furthest <= 1
        flags[SAFE_IN, i] = off <= SAFE
        floor, eyes = shaken(floor, camera.shaking, i), shaken(eyes, camera.shaking, i)
        crown_u, crown_v, chin_u, chin_v, whole, eyes_in = head_on_screen(
            floor, eyes, screen
        )
        places[CROWN_U, i], places[CROWN_V, i] = crown_u, crown_v
        places[CHIN_U, i], places[CHIN_V, i] = chin_u, chin_v
        flags[HEAD_IN, i] = whole
        flags[HEAD_HELD, i] = head_kept(whole, eyes_in, wanted.tops[at])
