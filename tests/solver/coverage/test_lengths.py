"""Lengths cost what the prior says; drawn rhythms follow the prior, by their seed."""

import numpy as np
import pytest
from covered import five_cameras
from scipy import stats

from carrellata.solver.coverage.cut import ChosenCut, CutAsk, choose_cut
from carrellata.solver.coverage.cutting import NEVER
from carrellata.solver.coverage.given import GivenPicture, judge_cut
from carrellata.solver.coverage.lengths import MEDIAN_S, SPREAD, Lengths
from carrellata.solver.coverage.pictures import Pictures, pictures_of

RATE = 24.0


def test_costs_without_a_rhythm_are_those_of_the_density_from_the_median() -> None:
    n = 480
    costs = Lengths().costs(n, RATE, 1.0, alone=False)
    frames = np.arange(24, 480)
    density = stats.norm(np.log(MEDIAN_S), SPREAD).logpdf(np.log(frames / RATE))
    peak = stats.norm(0.0, SPREAD).logpdf(0.0)
    found = np.array([costs.of(7, 7 + k) for k in frames.tolist() if 7 + k <= n])
    np.testing.assert_allclose(found / 1e6, (peak - density)[: len(found)], atol=1e-6)
    assert costs.of(0, 23) == costs.of(0, 481) == NEVER
    assert costs.liked_at(0, 60) == pytest.approx(MEDIAN_S * RATE)


def test_rhythm_covers_the_action_and_is_the_same_for_a_seed() -> None:
    lengths = Lengths(varied=0.9, seed=5)
    for n in (10, 24, 481, 2400):
        drawn = lengths.rhythm(n, RATE)
        assert drawn.sum() == n
        assert drawn.min() >= min(n, 24)
        np.testing.assert_array_equal(drawn, lengths.rhythm(n, RATE))
        costs = lengths.costs(n, RATE, 1.0, alone=False)
        assert costs.row.shape == (n + 1,)
        np.testing.assert_array_equal(np.diff(costs.row) >= 0, True)
    other = Lengths(varied=0.9, seed=6).rhythm(2400, RATE)
    assert other.tolist() != lengths.rhythm(2400, RATE).tolist()


def test_drawn_lengths_and_those_left_to_the_cost_make_up_the_spread() -> None:
    lengths = Lengths(varied=0.8, shortest_s=0.01, longest_s=1000.0, seed=1)
    drawn = np.log(lengths.rhythm(500_000, RATE) / RATE)
    assert np.median(drawn) == pytest.approx(np.log(MEDIAN_S), abs=0.02)
    assert np.std(drawn) == pytest.approx(0.8 * SPREAD, abs=0.02)
    costs = lengths.costs(4800, RATE, 1.0, alone=False)
    k = 3
    best, row = costs.liked[k], costs.points[k]
    off = np.log(np.arange(1, 400) / best) / (0.6 * SPREAD)
    np.testing.assert_allclose(row[1:400] / 1e6, off**2 / 2, atol=1e-6)


@pytest.fixture(scope="module")
def pictures() -> tuple[Pictures, ...]:
    takes = five_cameras(60.0)
    return tuple(pictures_of(take, name) for name, take in takes.items())


def test_a_rhythm_makes_a_cut_whose_lengths_differ_as_the_prior_has_it(
    pictures: tuple[Pictures, ...],
) -> None:
    prior, found = stats.lognorm(s=SPREAD, scale=MEDIAN_S), {}
    for varied in (0.0, 0.95):
        held = []
        for seed in range(4):
            ask = CutAsk(lengths=Lengths(varied=varied, seed=seed))
            cut = choose_cut(pictures, ask)
            assert isinstance(cut, ChosenCut)
            held += [(one.last - one.first + 1) / RATE for one in cut.pictures]
        found[varied] = stats.kstest(held, prior.cdf).statistic, np.std(np.log(held))
    assert found[0.95][0] < 0.75 * found[0.0][0]
    assert abs(found[0.95][1] - SPREAD) < abs(found[0.0][1] - SPREAD)


def test_a_given_cut_is_judged_without_a_rhythm(
    pictures: tuple[Pictures, ...],
) -> None:
    given = [GivenPicture("master", 0), GivenPicture("single_a", 400)]
    judged = [
        judge_cut(pictures, CutAsk(lengths=Lengths(varied=varied, seed=2)), given)
        for varied in (0.0, 0.9)
    ]
    assert judged[0] == judged[1]
