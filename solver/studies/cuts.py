"""How studied cameras begin and end, as continuity judges a cut.

Only the action at the ends is read, so a camera's shake counts with its place there.
"""

from fractions import Fraction

import numpy as np

from ..action.body import EYES, aim_fraction, span_of
from ..action.framing import Framing
from ..action.subject import Subject
from ..arrays import FloatArray
from ..cuts.at_cut import cut_action
from ..cuts.end import ShotEnds, trial_ends
from ..frame.projection import project
from ..optics.lens import Lens
from ..presets import PRESETS
from ..rigs.sticks import sticks
from ..shot import Shot
from .camera import CameraMove
from .framing import Framed


def studied_ends(
    camera: CameraMove,
    subject: Subject,
    framed: Framed,
    *,
    rate: Fraction,
    focal_mm: float,
) -> ShotEnds | None:
    """Return the first and the last whole frame of a camera, None where none is whole.

    Args:
        camera: what was moved.
        subject: whom it shows, over the same time.
        framed: how it was framed.
        rate: frames a second.
        focal_mm: the lens, as the kit names it.
    """
    # Times that were written with a few decimals still are their frames.
    first, last = camera.times_s[[0, -1]] * float(rate)
    frames = np.arange(np.ceil(first - 1e-3), np.floor(last + 1e-3) + 1)
    if len(frames) == 0:
        return None
    shot = _shot(camera, subject, framed, rate, focal_mm, frames)
    times = shot.times_of(frames)
    columns = (*camera.place.T, camera.pan, camera.tilt, camera.roll)
    x, y, z, pan, tilt, roll = (np.interp(times, camera.times_s, c) for c in columns)
    place = np.column_stack([x, y, z])
    tx, ty = shot.tangents
    u, v, depth = project(subject.at(times, framed.aim), place, pan, tilt, roll, tx, ty)
    span = shot.framings[0]
    ends = [
        project(subject.at(times, part / EYES), place, pan, tilt, roll, tx, ty)
        for part in (span.top, span.bottom)
    ]
    ahead = np.all([depth > 0, *(d > 0 for _, _, d in ends)], axis=0)
    screen = np.full((len(frames), 3), np.nan)
    screen[ahead, 0], screen[ahead, 1] = u[ahead], v[ahead] + camera.gate.axis_v
    screen[ahead, 2] = np.abs(ends[0][1][ahead] - ends[1][1][ahead]) / 2
    cams = np.column_stack([place, pan])
    return trial_ends(shot, shot.lens, cut_action(shot), cams, screen)


def _shot(
    camera: CameraMove,
    subject: Subject,
    framed: Framed,
    rate: Fraction,
    focal_mm: float,
    frames: FloatArray,
) -> Shot:
    span = span_of(framed.size)
    asked = Framing(
        start_s=-np.inf,
        top=span.top,
        bottom=span.bottom,
        aim=aim_fraction(framed.size) / EYES,
        u=framed.u,
        v=framed.v,
        lead_room=0.0,
        look_room=0.0,
        distance_m=framed.distance_m,
        weights=(1.0,),
    )
    return Shot(
        name="studied",
        rate=rate,
        first=int(frames[0]),
        last=int(frames[-1]),
        gate=camera.gate,
        lens=Lens(focal_mm),
        roll_rad=float(np.median(camera.roll)),
        rig=sticks(camera.place.mean(axis=0)),
        crew=PRESETS["brisk"],
        subjects=(subject,),
        framings=(asked,),
    )
