"""Compiles the solver's kernels before work arrives."""

from fractions import Fraction

import numpy as np

from ..solver.camera import Gate
from ..solver.crew import PRESETS
from ..solver.lens import Lens
from ..solver.rig import track
from ..solver.shot import Framing, Shot, Subject
from ..solver.take import operate


def warm_up() -> None:
    """Operate a shot of a few frames, so that later ones find compiled code.

    The compiled code is kept on disk, where other processes find it.
    """
    times = np.arange(4) / 24
    floor = np.column_stack([times, np.zeros(4), np.zeros(4)])
    subject = Subject(
        name="walker",
        times_s=times,
        floor=floor,
        eyes=floor + np.array([0.0, 1.6, 0.0]),
        facing_rad=np.full(4, np.nan),
        fresh=np.ones(4, dtype=np.bool_),
        visible=np.ones(4, dtype=np.bool_),
    )
    framing = Framing(
        start_s=-np.inf,
        top=1.0,
        bottom=0.0,
        aim=0.5,
        u=0.0,
        v=0.0,
        lead_room=0.1,
        look_room=0.1,
        distance_m=4.0,
        weights=(1.0,),
    )
    operate(
        Shot(
            name="warm",
            rate=Fraction(24),
            first=0,
            last=3,
            gate=Gate(24.0, 10.0),
            lens=Lens(35.0),
            rig=track(np.array([-1.0, 1.5, 4.0]), np.array([1.0, 1.5, 4.0])),
            crew=PRESETS["steady"],
            subjects=(subject,),
            framings=(framing,),
        )
    )
