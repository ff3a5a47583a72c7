"""Ends of cuts drawn in plain coordinates, for tests of continuity.

The plan is drawn from above in metres: x to the right of the page, y up the page; a
direction is in degrees counter-clockwise from the right of the page. Inside the solver
that is x and -z.
"""

from math import atan2, cos, hypot, radians, sin
from typing import Any

from carrellata.solver.action.body import SIZES
from carrellata.solver.cuts.at_cut import bearing_rad
from carrellata.solver.cuts.end import CutEnd, ShotEnds

EYES_M = 1.6
Spot = tuple[float, float]


def an_end(
    camera: Spot,
    *,
    at: Spot = (0.0, 0.0),
    subject: str = "a",
    walks: Spot = (0.0, 0.0),
    partner: tuple[str, Spot] | None = None,
    faces_deg: float | None = None,
    size: str = "full",
    fill: float | None = None,
    u: float | None = 0.0,
    v: float | None = 0.1,
    height_m: float = EYES_M,
    focal_mm: float = 50.0,
    **rest: Any,
) -> CutEnd:
    """Return the end of a cut that looks straight at a subject from `camera`.

    Args:
        camera: lens on the plan, as `at`, and `walks` a velocity [m/s].
        at: see camera.
        subject: name of the primary.
        walks: see camera.
        partner: name and spot of another who is in the action, and stands.
        faces_deg: direction of the gaze.
        size: named size; the frame shows it filled to `fill`, 0.9 by default.
        fill: see size.
        u: place in the frame, None where it is hidden; v as well.
        v: see u.
        height_m: of the lens.
        focal_mm: of the lens.
        rest: fields of `CutEnd` to set.
    """
    line, along, facing = "none", None, None
    if faces_deg is not None:
        line = "facing"
        facing = along = _bearing(cos(radians(faces_deg)), sin(radians(faces_deg)))
    if hypot(*walks) > 0:
        line, along = "travel", _bearing(*walks)
    others = ()
    if partner is not None:
        other, spot = partner
        others = ((other, spot[0], 0.0, -spot[1], 0.0, None),)
    pan = _bearing(at[0] - camera[0], at[1] - camera[1])
    span = SIZES[size]
    fields: dict[str, Any] = {
        "frame": 1001,
        "time_s": 1001 / 24,
        "subject": subject,
        "place": (at[0], 0.0, -at[1]),
        "eyes": (at[0], EYES_M, -at[1]),
        "velocity": (walks[0], 0.0, -walks[1]),
        "line": line,
        "line_rad": along,
        "facing_rad": facing,
        "framed": (subject,),
        "span": size,
        "share": span.top - span.bottom,
        "stature_m": EYES_M / 0.935,
        "others": others,
        "lens": (camera[0], height_m, -camera[1]),
        "u": u,
        "v": v,
        "across_m_s": walks[0] * cos(pan) + walks[1] * sin(pan),
        "size": None if u is None else 0.9 if fill is None else fill,
        "focal_mm": focal_mm,
        "tan_u": 24.89 / 2 / focal_mm,
        "tan_v": 24.89 / 2.39 / 2 / focal_mm,
    }
    return CutEnd(**(fields | rest))


def _bearing(x: float, y: float) -> float:
    return bearing_rad(x, -y)


def around(angle_deg: float, distance_m: float = 6.0, at: Spot = (0.0, 0.0)) -> Spot:
    """Return the spot in a direction and at a distance from another."""
    angle = radians(angle_deg)
    return at[0] + distance_m * cos(angle), at[1] + distance_m * sin(angle)


def held(end: CutEnd) -> ShotEnds:
    """Return the ends of a shot that begins as it ends."""
    return ShotEnds(first=end, last=end)


def mirrored(end: CutEnd) -> CutEnd:
    """Return the end in a world mirrored left to right, x to -x."""

    def flip(point: tuple[float, ...]) -> Any:
        return (-point[0], *point[1:])

    line = end.line_rad
    return CutEnd.from_plain(
        end.plain()
        | {
            "place": flip(end.place),
            "eyes": flip(end.eyes),
            "velocity": flip(end.velocity),
            "lens": flip(end.lens),
            "line_rad": None if line is None else -line,
            "facing_rad": None if end.facing_rad is None else -end.facing_rad,
            "u": None if end.u is None else -end.u,
            "across_m_s": -end.across_m_s,
            "others": [
                [n, -x, y, z, s, None if along is None else -along]
                for n, x, y, z, s, along in end.others
            ],
        }
    )


def moved(end: CutEnd, turn_rad: float, by: tuple[float, float, float]) -> CutEnd:
    """Return the end in a world turned about the up axis and then shifted."""

    def turn(point: tuple[float, ...]) -> tuple[float, float, float]:
        x, y, z = point
        c, s = cos(turn_rad), sin(turn_rad)
        return c * x + s * z, y, c * z - s * x

    def place(point: tuple[float, ...]) -> list[float]:
        return [p + q for p, q in zip(turn(point), by, strict=True)]

    def bearing(one: float | None) -> float | None:
        if one is None:
            return None
        return atan2(sin(one + turn_rad), cos(one + turn_rad))

    return CutEnd.from_plain(
        end.plain()
        | {
            "place": place(end.place),
            "eyes": place(end.eyes),
            "lens": place(end.lens),
            "velocity": turn(end.velocity),
            "line_rad": bearing(end.line_rad),
            "facing_rad": bearing(end.facing_rad),
            "others": [
                [n, *place((x, y, z)), s, bearing(along)]
                for n, x, y, z, s, along in end.others
            ],
        }
    )
