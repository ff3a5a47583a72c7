"""Compiles what proposes, lays and judges setups, on a shot whose setup is given."""

import numpy as np

from ...solver.optics.lens import Lens
from ...solver.rigs.kinds import KINDS
from ...solver.setups.propose import Known, propose_rails, propose_standing, way_of
from ...solver.setups.search import candidates
from ...solver.setups.setup import SIDES, VIEWS_RAD, Ask, View, rehearsed
from ...solver.shot import Shot
from ...solver.stage.stage import Stage


def choose(shot: Shot) -> None:
    """Propose setups for a shot, have the crew work them, and judge them."""
    candidates(_ask(shot))


def lay(shot: Shot) -> None:
    """Propose setups for a shot, without simulating them."""
    ask = _ask(shot)
    action = rehearsed(ask.shot)
    known = Known(ask, action, way_of(action))
    propose_standing(known)
    propose_rails(known, ask.lenses)


def _ask(shot: Shot) -> Ask:
    """Return the shot with its setup open, on a stage with a box to look past."""
    views = tuple(
        View(name=name, angle_rad=angle, side=side)
        for name, angle in VIEWS_RAD.items()
        for side in SIDES
    )
    return Ask(
        shot=shot,
        lenses=(shot.lens, Lens(50.0)),
        rig=None,
        kinds=tuple(KINDS),
        views=views,
        height_m=None,
        stage=Stage(
            keep_outs=np.array([[[9.0, 0.0, -9.0], [9.5, 1.0, -8.0]]]),
            names=("box",),
            sight_forbidden=np.zeros(1, dtype=np.bool_),
        ),
    )
