"""What the convex programme lays is where the rig built of it puts the lens."""

import numpy as np
import pytest

from carrellata.solver.laying.laying import Curved, Straight
from carrellata.solver.rigs.arc import arc
from carrellata.solver.rigs.track import track

S = np.linspace(-1.5, 2.5, 9)
ENDS = (-1.5, 2.5)
HEIGHT_M = 1.4


@pytest.mark.parametrize("turn", [1.0, -1.0])
def test_a_curved_laying_is_an_arc(turn: float) -> None:
    laying = Curved(
        centre=np.array((1.0, -2.0)),
        radius=4.0,
        angle=0.7,
        turn=turn,
        s=S,
        ends=ENDS,
        free_radius=True,
    )
    rig = arc(
        np.array((1.0, HEIGHT_M, -2.0)),
        radius=4.0,
        start=0.7 + turn * ENDS[0] / 4.0,
        sweep=turn * (ENDS[1] - ENDS[0]) / 4.0,
    )
    places = np.insert(laying.at(S)[0], 1, HEIGHT_M, axis=1)
    assert rig.places(S - ENDS[0]) == pytest.approx(places, abs=1e-12)
    assert rig.feet(places, S - ENDS[0]) == pytest.approx(S - ENDS[0], abs=1e-12)


def test_a_straight_laying_is_a_track() -> None:
    laying = Straight(origin=np.array((1.0, -2.0)), angle=0.4, s=S, ends=ENDS)
    places = np.insert(laying.at(S)[0], 1, HEIGHT_M, axis=1)
    rig = track(places[0], places[-1])
    assert rig.places(S - ENDS[0]) == pytest.approx(places, abs=1e-12)
    assert rig.feet(places, S - ENDS[0]) == pytest.approx(S - ENDS[0], abs=1e-12)
