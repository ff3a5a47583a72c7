"""Proposals that claims ask for: where to look from, and track along the view.

An imagined operator on sticks holds the aim of the shot in the middle of the frame, all
round the subject in steps of 15 degrees, with every suitable lens. From the directions
in which the claims are best told setups are proposed as from any other view. Whatever
is proposed is simulated and judged by the real crew.
"""

from collections.abc import Sequence
from math import radians

import numpy as np

from ..arrays import FloatArray
from ..claims.everyone import Blocking, CameraFrames, FrameTable, frame_table
from ..claims.measured import outcomes_of
from ..elementary.arctangent import atan2
from ..elementary.arrays import arctangents, lengths
from ..elementary.trigonometry import cos, sin
from ..frame.projection import Screen, Shaking
from ..optics.lens import Lens
from ..rigs.layout import lens_place
from ..rigs.track import NAME as TRACK
from ..rigs.track import TrackLayout
from .proposal import Proposal, lens_height
from .propose import Known, distance_of, suitable
from .setup import SIDES, View

STEP_DEG = 15
EACH = 2  # views on either side that claims add to those of the shot
_STILL = (1.0, 0.0, 1.0, 0.0, 1.0, 0.0)  # cosines and sines of a shake of nothing


def views_told(known: Known, blocking: Blocking) -> tuple[View, ...]:
    """Return the views that tell a shot's claims best and are not among its own.

    Args:
        known: what is known of the shot before anything is simulated.
        blocking: where everybody is at the frames of its cut.

    Returns:
        `EACH` on a side at most, the best first; none where the shot says its view.
    """
    ask = known.ask
    if len(ask.views) <= 2 or ask.rig is not None:
        return ()
    mine = [view.bearing_rad for view in ask.views]
    found = []
    for bearing in np.arange(-180, 180, STEP_DEG).tolist():
        if any(abs(sin((radians(bearing) - own) / 2)) < 1e-6 for own in mine):
            continue
        short = min(
            _short(known, blocking, lens, radians(bearing))
            for lens in suitable(ask, known.action)
        )
        found.append((short, abs(bearing), bearing))
    best = [
        each
        for side in (1, -1)
        for each in sorted(one for one in found if (one[2] >= 0) == (side > 0))[:EACH]
    ]
    return tuple(_view(bearing) for short, _, bearing in sorted(best) if short < 1.0)


def closing(known: Known, lenses: Sequence[Lens]) -> list[Proposal]:
    """Return track along the view for a shot that closes in or draws back.

    The dolly keeps the asked size, so the size has to change inside the shot: the track
    runs from where the lens gives the first size to where it gives the tightest or the
    widest, along the sight line to where the subject is then.
    """
    ask, way = known.ask, known.way
    wanted = {claim.verb for claim in ask.shot.claims} & {"closes_in", "draws_back"}
    if not wanted or not way.resizes or TRACK not in ask.kinds:
        return []
    last = int(way.ratio.argmin() if "closes_in" in wanted else way.ratio.argmax())
    at = way.centre[: last + 1].mean(axis=0)
    found = []
    for lens in lenses:
        distance = distance_of(ask, lens) * known.looser
        ends = distance * way.ratio[0], distance * way.ratio[last]
        for view in ask.views:
            bearing = known.action.main + view.bearing_rad
            away = np.array([-sin(bearing), -cos(bearing)])
            middle = at + away * sum(ends) / 2
            layout = TrackLayout(
                distance_m=distance,
                height_m=lens_height(ask, distance, way.eyes_m, known.angle),
                x=float(middle[0]),
                z=float(middle[1]),
                bearing=atan2(away[0], away[1]),
                offset=(bearing, distance),
                reach_m=abs(ends[0] - ends[1]) / 2,
                hold="size",
                hand=1.0 if view.side == "left" else -1.0,
            )
            found.append(Proposal(lens=lens, view=view, layout=layout))
    return found


def _view(bearing_deg: float) -> View:
    """Return the view from a bearing off the travel, positive on its left [deg]."""
    angle = radians(abs(bearing_deg))
    side = SIDES[0] if bearing_deg >= 0 else SIDES[1]
    return View(name=f"{abs(bearing_deg):g} deg", angle_rad=angle, side=side)


def _short(known: Known, blocking: Blocking, lens: Lens, bearing: float) -> float:
    """Return by how much an imagined camera misses the claims, 0 where it tells all.

    Args:
        known: what is known of the shot.
        blocking: where everybody is.
        lens: through which it looks.
        bearing: of the camera, from the main heading [rad].
    """
    claims = known.ask.shot.claims
    outcomes = outcomes_of(claims, _imagined(known, blocking, lens, bearing))
    return sum(one.short * (1.0 if one.claim.must else 0.1) for one in outcomes)


def _imagined(
    known: Known, blocking: Blocking, lens: Lens, bearing: float
) -> FrameTable:
    """Return what a camera on sticks shows that is always aimed right."""
    ask, action, way = known.ask, known.action, known.way
    distance = distance_of(ask, lens)
    x, z = way.stand(action.main + bearing, distance, 1.0)
    height = lens_height(ask, distance, way.eyes_m, known.angle)
    place = np.asarray(lens_place(x, height, z))
    to: FloatArray = action.aim - place
    pan = arctangents(-to[:, 0], -to[:, 2])
    tilt = arctangents(to[:, 1], lengths(to[:, 0], to[:, 2]))
    n = len(to)
    cams = np.column_stack([np.tile(place, (n, 1)), pan, tilt])
    shot = ask.shot
    screen = Screen(*shot.gate.half_tangents(lens.focal_mm), shot.gate.axis_v)
    shaking = Shaking(np.zeros((n, 3)), np.tile(_STILL, (n, 1)))
    camera = CameraFrames(cams, shot.roll_rad, screen, shaking)
    return frame_table(blocking, shot.stage, camera)
