"""A rail that is a table agrees with what its curve is exactly."""

import numpy as np
import pytest

from carrellata.solver.errors import SolverError
from carrellata.solver.rigs.arc import arc
from carrellata.solver.rigs.rig import abreast_s, distance_s, rig_place
from carrellata.solver.rigs.sampled import sampled, sampled_places

ARC = arc(np.array((1.0, 1.5, -2.0)), radius=4.0, start=0.3, sweep=-1.8)
TABLE = sampled(lambda shares: ARC.places(shares * ARC.length_m))


def test_the_table_of_an_arc_is_the_arc() -> None:
    s = np.linspace(0.0, TABLE.length, 1001)
    assert TABLE.length == pytest.approx(ARC.length_m, abs=1e-6)
    assert sampled_places(TABLE, s) == pytest.approx(ARC.places(s), abs=1e-6)
    kernel = np.array([rig_place(TABLE, one) for one in s.tolist()])
    assert kernel == pytest.approx(sampled_places(TABLE, s), abs=1e-12)


def test_a_dolly_on_the_table_of_an_arc_holds_what_one_on_the_arc_does() -> None:
    rng = np.random.default_rng(5)
    for point in rng.uniform((-3, 0.3, -6), (5, 2.5, 2), (60, 3)).tolist():
        one = abreast_s(TABLE, *point, 1.0)
        gap = np.linalg.norm(ARC.places(np.array((one,)))[0] - point)
        best = np.linalg.norm(
            ARC.places(np.linspace(0.0, ARC.length_m, 4001)) - point, axis=1
        ).min()
        assert gap <= best + 1e-6
        far = distance_s(ARC.shape, *point, 3.0, 2.0)
        assert distance_s(TABLE, *point, 3.0, 2.0) == pytest.approx(far, abs=0.01)


def test_speed_along_the_table_is_even() -> None:
    s = np.linspace(0.0, TABLE.length, 20001)
    steps = np.linalg.norm(np.diff(sampled_places(TABLE, s), axis=0), axis=1)
    assert steps == pytest.approx(s[1], rel=1e-4)


def test_beyond_its_ends_the_rail_goes_straight_on() -> None:
    behind = sampled_places(TABLE, np.array((TABLE.length, TABLE.length + 0.5)))
    assert np.linalg.norm(behind[1] - behind[0]) == pytest.approx(0.5)
    assert behind[1] - behind[0] == pytest.approx(0.5 * TABLE.table[-1, 3:])


def test_a_curve_without_length_is_refused() -> None:
    with pytest.raises(SolverError, match=r"rail: must be longer than 0\.001 m"):
        sampled(lambda shares: np.zeros((len(shares), 3)))
