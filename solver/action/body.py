"""The body: where its landmarks are, and what each shot size shows of it.

Heights are fractions of stature from the floor. Landmarks are means of the
men's and women's means of ANSUR II (Gordon et al. 2014, NATICK/TR-15/007),
computed from the public measurements. What a size shows is a trade convention
on them; the crop between two joints, and the two tightest sizes, are our choice.
"""

from typing import NamedTuple

EYES = 0.935  # stature - (sitting height - sitting eye height)

LANDMARKS: dict[str, float] = {
    "floor": 0.0,
    "knee": 0.277,  # mid-patella
    "hips": 0.516,  # trochanterion
    "waist": 0.602,  # omphalion
    "chest": 0.727,
    "shoulders": 0.820,  # acromion
    "chin": 0.866,  # eyes less menton-sellion length
    "eyes": EYES,
    "head_top": 1.0,
}


class Size(NamedTuple):
    """The span of the body that a shot size names, fractions of stature."""

    bottom: float
    top: float


SIZES: dict[str, Size] = {
    "full": Size(0.0, 1.0),
    "knee": Size(0.21, 1.0),  # under the kneecap: a frame's edge cuts no joint
    "cowboy": Size(0.38, 1.0),  # mid-thigh: halfway from knee to crotch (0.481)
    "medium": Size(0.60, 1.0),  # waist
    "chest": Size(0.73, 1.0),
    "close": Size(0.80, 1.0),  # under the shoulders, clear of the neck
    "eyes": Size(0.895, 0.975),  # nose to forehead, the eyes in the middle
}


def span_of(size: str | float) -> Size:
    """Return the span a size shows.

    Args:
        size: a name of `SIZES`, or the share of the frame height that the whole
            body takes, > 0. Above 1 the span is what one frame height, hung
            from the crown, shows of it.
    """
    if isinstance(size, str):
        return SIZES[size]
    return Size(1.0 - 1.0 / size, 1.0) if size > 1.0 else SIZES["full"]


def fill_of(size: str | float, headroom: float) -> float:
    """Return the share of the frame height that the named span takes.

    The span fills the frame height less headroom; a full figure has the same
    room under its feet. A size that cuts the crown has no headroom to give. A
    numeric size is itself the fill, at most 1.

    Args:
        size: a name of `SIZES`, or a share of frame height (see `span_of`).
        headroom: room over the crown, share of frame height, 0 to < 0.5.
    """
    if not isinstance(size, str):
        return min(size, 1.0)
    if SIZES[size].top < 1.0:
        return 1.0
    return 1.0 - (2.0 if size == "full" else 1.0) * headroom


def framing_distance_m(
    size: str | float, height_m: float, headroom: float, ty: float
) -> float:
    """Return the distance at which a size is held.

    The span stands square to the lens axis: at distance D the frame is
    2 ty D high, so D = span height / (2 ty fill).

    Args:
        size: a name of `SIZES`, or a share of frame height (see `span_of`).
        height_m: stature [m].
        headroom: share of frame height.
        ty: tangent of half the vertical angle of view.

    Returns:
        Distance along the lens axis [m].
    """
    span = span_of(size)
    return (span.top - span.bottom) * height_m / (2.0 * ty * fill_of(size, headroom))


def aim_fraction(size: str | float) -> float:
    """Return the height aimed at: eyes from chest on in, else the span's middle."""
    span = span_of(size)
    if span.bottom >= SIZES["chest"].bottom:
        return EYES
    return 0.5 * (span.bottom + span.top)


def aim_height_in_frame(size: str | float, headroom: float) -> float:
    """Return the screen height v at which headroom puts the aim point.

    The top of the span lies the headroom under the frame's upper edge, at
    v = 1 - 2 headroom; the aim point hangs from it in proportion.

    Args:
        size: a name of `SIZES`, or a share of frame height (see `span_of`).
        headroom: share of frame height; not used where the crown is cut.

    Returns:
        v in the delivered frame, -1 (lower edge) to 1.
    """
    span = span_of(size)
    room = headroom if span.top == 1.0 else 0.0
    below_top = (span.top - aim_fraction(size)) / (span.top - span.bottom)
    return 1.0 - 2.0 * room - 2.0 * fill_of(size, headroom) * below_top
