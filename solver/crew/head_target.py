"""Where pan and tilt have to be for the frame asked, and the room it leaves."""

from typing import NamedTuple

import numpy as np

from ..action.body import EYES
from ..compiled.kernel import kernel
from ..elementary.arctangent import asin, atan, atan2
from ..elementary.trigonometry import sin_cos
from .figure import moved_figure, noted_figure, point_of

LEAD_ON, LEAD_OFF = 0.25, 0.10  # half frames/s of believed screen travel
LOOK_ON = 0.35  # sine of the gaze off the lens axis
CROWN, CHIN = 1.0 / EYES, 0.866 / EYES  # of floor to eyes; chin: `body.LANDMARKS`
HALF_HEAD_M = 0.076  # half a head's breadth: ANSUR II, from memory
MOST_CREST = 0.5  # of the half frame that is left over a crown for its bounce
LITTLE = 1e-9  # rad; over what rounding is
CRESTS = 1.3  # heights of the believed bounce that are kept over the crown


class Sight(NamedTuple):
    """How the camera sees: roll of the head [rad], half-frame tangents of the lens."""

    roll: float
    tx: float
    ty: float


class Post(NamedTuple):
    """Where the lens is [m], and the pan [rad] that is at hand there."""

    x: float
    y: float
    z: float
    pan: float


class Aim(NamedTuple):
    """What goes where in the frame: the three numbers of `asked_ray`, and more.

    Attributes:
        side, reach, rise: the asked ray, as `asked_ray` returns it.
        slope: rise over depth of the highest that a crown goes in the frame, infinite
            where nothing is asked of it.
        high: the angle of that slope [rad].
        sine, cosine: of the roll of the head.
        point: share of floor to eyes that goes to the asked ray.
        only: the one subject that is framed, -1 for several.
        most_pan, most_tilt: by how much one who must be held may be off the axis [rad].
    """

    side: float
    reach: float
    rise: float
    slope: float
    high: float
    sine: float
    cosine: float
    point: float
    only: int
    most_pan: float
    most_tilt: float


@kernel
def asked_ray(u, v, sight):
    """Return the ray through (u, v) as side, reach and rise.

    Side is its part across the lens axis, reach the rest of the unit ray, and rise the
    angle of that rest above the axis [rad].
    """
    a, b = u * sight.tx, v * sight.ty
    norm = np.sqrt(a * a + b * b + 1.0)
    sine, cosine = sin_cos(sight.roll)
    side = (cosine * a - sine * b) / norm
    up = (sine * a + cosine * b) / norm
    return side, np.sqrt(up * up + 1.0 / (norm * norm)), atan2(up * norm, 1.0)


@kernel
def aim_ray(dx, dy, dz, ray):
    """Return the pan and tilt that put direction d on a ray, up to the pole.

    The closed form of `camera.aim`: the ray's rest has to rise as d does, and what is
    then level of it to turn to where d stands.
    """
    side, reach, rise = ray
    if side == 0.0:  # and the reach is one
        level = np.sqrt(dx * dx + dz * dz)
        return atan2(-dx, -dz), atan2(dy, level) - rise
    up = dy / (np.sqrt(dx * dx + dy * dy + dz * dz) * reach)
    up = min(1.0, max(-1.0, up))
    level = np.sqrt((1.0 - up) * (1.0 + up))
    ahead = reach * level
    pan = atan2(-dx * ahead - dz * side, dx * side - dz * ahead)
    return pan, atan2(up, level) - rise


@kernel
def turn_near(angle, near):
    """Return `angle` by whole turns nearest to `near`."""
    if abs(near - angle) < np.pi:
        return angle
    return angle + 2 * np.pi * np.round((near - angle) / (2 * np.pi))


@kernel
def crown_slope(v, sight):
    """Return slope and angle [rad] of the highest that a crown goes; NaN: anywhere."""
    if np.isnan(v):
        return np.inf, np.inf
    return v * sight.ty, atan(v * sight.ty)


@kernel
def crown_tilt(dx, dy, dz, pan, aim):
    """Return the tilt that puts a crown in direction d at its height in the frame.

    The pan is given, so that where the frame is rolled, or the figure beside its
    middle, the crown is elsewhere across the frame than the point that is aimed at.
    """
    sine, cosine = sin_cos(pan)
    across, ahead = dx * cosine - dz * sine, -dx * sine - dz * cosine
    rise = aim.cosine * dy - aim.slope * ahead
    depth = aim.cosine * ahead + aim.slope * dy
    lean = aim.sine * across / np.sqrt(rise * rise + depth * depth)
    return atan2(rise, depth) - asin(min(1.0, max(-1.0, lean)))


@kernel
def crest_over(crest, far, aim):
    """Return how far over a crown the frame reaches for its bounce [m].

    No more than leaves the chin in the frame as the head comes down again.
    """
    return min(CRESTS * crest, MOST_CREST * aim.most_tilt * far)


@kernel
def subject_target(figure, ahead, post, aim):
    """Return pan and tilt that put a figure where it is asked for, `ahead` [s] later.

    While it is larger than asked the crown decides on the tilt, else the point.
    """
    if ahead != 0.0:
        figure = moved_figure(figure, ahead)
    pan, tilt, _ = figure_target(figure, post, aim)
    return pan, tilt


@kernel
def figure_target(figure, post, aim):
    """Return as `subject_target` does, and how high the crown is, NaN if not known."""
    x, y, z = point_of(figure, aim.point)
    pan, tilt = aim_ray(
        x - post.x, y - post.y, z - post.z, (aim.side, aim.reach, aim.rise)
    )
    crown = np.nan
    if aim.slope < np.inf:
        dx, dy, dz, far = crown_from(figure, post, aim)
        if aim.side == 0.0 and aim.sine == 0.0:
            crown = atan2(dy, far)
            tilt = max(tilt, crown - aim.high)
        else:
            tilt = max(tilt, crown_tilt(dx, dy, dz, pan, aim))
    return turn_near(pan, post.pan), tilt, crown


@kernel
def crown_from(figure, post, aim):
    """Return where a crown, and its bounce over it, is from a post, and how far."""
    x, y, z = point_of(figure, CROWN)
    dx, dy, dz = x - post.x, y - post.y, z - post.z
    far = np.sqrt(dx * dx + dz * dz)
    return dx, dy + crest_over(figure.crest, far, aim), dz, far


@kernel
def head_room(figure, post, aim):
    """Return the least and most pan, and tilt, that hold a head in the frame."""
    dx, dy, dz, far = crown_from(figure, post, aim)
    pan = turn_near(atan2(-dx, -dz), post.pan)
    crown = atan2(dy, far)
    side = max(0.0, aim.most_pan - atan2(HALF_HEAD_M, far))
    _, y, _ = point_of(figure, CHIN)
    chin = atan2(y - post.y, far)
    return pan - side, pan + side, crown - aim.most_tilt, chin + aim.most_tilt


@kernel
def sure_room(figure, post, aim, pan, crown):
    """Return limits within those of `head_room`, for a fraction of what they cost.

    An arctangent of t >= 0 is at most t and at least t - t^3 / 3; `pan` and `crown` are
    those of `figure_target`, and an upright head stands where the figure does.
    """
    dx, dy, dz, far = crown_from(figure, post, aim)
    if aim.side != 0.0 or figure.up_x != 0.0 or figure.up_z != 0.0:
        pan = turn_near(atan2(-dx, -dz), post.pan)
    if np.isnan(crown):
        crown = atan2(dy, far)
    near = max(far, 1e-6)
    side = max(0.0, aim.most_pan - HALF_HEAD_M / near - LITTLE)
    _, y, _ = point_of(figure, CHIN)
    t = (y - post.y) / near
    chin = t - max(t, 0.0) ** 3 / 3
    up = chin + aim.most_tilt - LITTLE
    return pan - side, pan + side, crown - aim.most_tilt, up


@kernel
def frame_target(figures, framed, ahead, post, aim):
    """Return pan and tilt that frame several subjects of a cue from a `Post`.

    `figures` are as `note_figures` fills them, `framed` the weights of the cues, the
    number of the one in force, its primary subject, and whether each must be held.
    All who must be held are, head and all, while they fit; when they don't, the primary
    stays, and the frame goes over to the primary alone.
    """
    weights, cue, lead, must = framed
    total = pan = tilt = own_pan = own_tilt = 0.0
    low = low_t = -np.inf
    high = high_t = np.inf
    for s in range(weights.shape[1]):
        share = weights[cue, s]
        if share <= 0.0:
            continue
        figure = moved_figure(noted_figure(figures, s), ahead)
        a, b, crown = figure_target(figure, post, aim)
        if s == lead:
            own_pan, own_tilt = a, b
        total += share
        pan += share * a
        tilt += share * b
        if must[s]:
            left, right, down, up = sure_room(figure, post, aim, a, crown)
            low, high = max(low, left), min(high, right)
            low_t, high_t = max(low_t, down), min(high_t, up)
    pan /= total
    tilt /= total
    if low <= pan <= high and low_t <= tilt <= high_t:
        return pan, tilt
    low = low_t = -np.inf
    high = high_t = np.inf
    for s in range(weights.shape[1]):
        if weights[cue, s] > 0.0 and must[s]:
            figure = moved_figure(noted_figure(figures, s), ahead)
            left, right, down, up = head_room(figure, post, aim)
            low, high = max(low, left), min(high, right)
            low_t, high_t = max(low_t, down), min(high_t, up)
    pan = held(pan, low, high, own_pan, aim.most_pan)
    tilt = held(tilt, low_t, high_t, own_tilt, aim.most_tilt)
    return pan, tilt


@kernel
def held(angle, low, high, own, room):
    """Return an angle between limits; as far as they contradict, the primary's own."""
    if low <= high:
        return min(max(angle, low), high)
    share = min(1.0, (low - high) / room)
    return (1.0 - share) * (low + high) / 2 + share * own


@kernel
def screen_side(side, asked, figure, gaze, post, tx):
    """Return (side of travel, where u moves to): room ahead of travel, else of gaze.

    Args:
        side: to which side the subject travelled on screen before: -1, 0 or 1.
        asked: aim point, lead room and look room.
        figure: the primary subject's.
        gaze: where it faces [rad], or NaN.
        post: where the lens is.
        tx: half-frame tangent.
    """
    point, lead_room, look_room = asked
    sine, right_x = sin_cos(post.pan)
    right_z = -sine
    x, _, z = point_of(figure, point)
    dx, dz = x - post.x, z - post.z
    speed = figure.vx * right_x + figure.vz * right_z
    rate = speed / (max(np.sqrt(dx * dx + dz * dz), 0.1) * tx)
    if abs(rate) > LEAD_ON:
        side = 1.0 if rate > 0 else -1.0
    elif abs(rate) < LEAD_OFF or rate * side < 0:
        side = 0.0
    u = -lead_room * side
    if side == 0.0 and not np.isnan(gaze):
        sine, cosine = sin_cos(gaze)
        across = -sine * right_x - cosine * right_z
        if abs(across) > LOOK_ON:
            u = -look_room * (1.0 if across > 0 else -1.0)
    return side, u
