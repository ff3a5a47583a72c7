"""The sequential convex programme that lays a rig within its limits.

A sequential convex programme with an exact penalty: at each laying the model of
`laying_rows` is solved within a trust region; its step is taken where the merit, the
objective plus the priced breaches of the true limits, falls by a fair share of what the
model foretold, if need be after a second-order correction. It ends at a laying whose
own model has next to nothing left to win, so the last answer's certificate is that of
the laying. Breaches that remain are the cheapest way out in the neighbourhood: they
name the limits to relax, and by how much.

No causality is asked here: this is what a crew that knows the whole action could do.

Source: Fletcher 1987, Practical Methods of Optimization, section 14.4 (l1 penalty with
trust region; from memory).
"""

from dataclasses import dataclass, replace

import numpy as np

from ..arrays import FloatArray
from .convex_model import ConvexAnswer, ConvexModel, solve_convex
from .laying import Bounds, Laying, Straight, Wish, tightened
from .rows import Linearised, linearised

MAX_ROUNDS = 40
SETTLED = 1e-5  # fall of the merit that is left at the end: 0.4 % r.m.s. of size
WAY_OUT = 1e-4  # the same as a share of the priced breaches
# Of one unit of breach, where an objective gains about 0.1 by it at most. A low price
# lets steps follow curved limits; the high one holds where a limit stays broken.
LOW_PRICE, HIGH_PRICE = 1.0, 10.0
FIRM = 100.0  # factor on the prices of limits that are not to yield
KEPT = 1e-4  # breach up to which a limit counts as kept, in its unit
FAIR = 0.1  # share of the foretold fall that a step must bring
SMALLEST_M = 1e-6  # trust radius at which nothing more is tried


@dataclass(frozen=True, kw_only=True, slots=True)
class Laid:
    """A laying with its certificate.

    Attributes:
        laying: geometry, places along it and the rail's ends.
        wish, bounds: that it answers, at its nodes.
        objective: mean of (squared log of distance ratio + weighted bearing error) / 2.
        breaches: by how much each limit is broken, in its unit, 0 for kept ones.
        duals: what one unit more of each limit would win, in units of the objective.
        answer: to the last convex model, the one at `laying`.
        rounds: convex programmes solved.
        settled: whether the model at the laying had nothing left to win.
    """

    laying: Laying
    wish: Wish
    bounds: Bounds
    objective: float
    breaches: dict[str, float]
    duals: dict[str, float]
    answer: ConvexAnswer
    rounds: int
    settled: bool

    @property
    def prices(self) -> dict[str, float]:
        """Price of one unit of each limit."""
        return dict(zip(self.breaches, self.answer.model.prices.tolist(), strict=True))

    @property
    def feasible(self) -> bool:
        """Whether every limit is kept at every node."""
        return max(self.breaches.values()) <= KEPT

    @property
    def merit(self) -> float:
        """Objective plus priced breaches."""
        prices = self.prices
        return self.objective + sum(prices[k] * v for k, v in self.breaches.items())

    @property
    def places(self) -> FloatArray:
        """Places of the lens on the ground at the nodes, (N, 2) [m]."""
        n = len(self.wish.times_s)
        s = self.laying.s if len(self.laying.s) else np.zeros(n)
        return self.laying.at(s)[0]


def best_of(tries: list[Laid]) -> Laid:
    """Return the laying of least merit that keeps its limits, if any does."""
    return min(tries, key=lambda laid: (not laid.feasible, laid.merit))


def lay(
    laying: Laying,
    wish: Wish,
    bounds: Bounds,
    *,
    yielding: tuple[str, ...] = ("",),
) -> Laid:
    """Run the sequential programme from one laying.

    Args:
        laying: where to begin; it may break limits.
        wish: at the laying's nodes.
        bounds: limits.
        yielding: beginnings of the names of limits that may be broken at their price
            where not all can be kept; the others cost a hundred times theirs.
    """
    found = _at_price(laying, wish, bounds, LOW_PRICE, yielding=yielding)
    if found.feasible:
        return found
    begun = found.laying
    dear = _at_price(begun, wish, bounds, HIGH_PRICE, yielding=yielding)
    return replace(dear, rounds=found.rounds + dear.rounds)


def _at_price(
    laying: Laying,
    wish: Wish,
    bounds: Bounds,
    price: float,
    *,
    yielding: tuple[str, ...],
) -> Laid:
    """Run the sequential programme at one price of a unit of breach."""

    def model_of(at: Laying, radius: float) -> Linearised:
        found = linearised(at, wish, bounds, _trust_of(at, radius))
        firm = [FIRM ** (not name.startswith(yielding)) for name in found.names]
        prices = price * found.model.prices * np.array(firm)
        model = replace(found.model, prices=prices)
        return replace(found, model=model)

    def tight(at: Laying) -> Laying:
        return tightened(at, wish.step_s, bounds.dolly_accel)

    laying = tight(laying)
    widest = 0.3 * float(wish.distance_m.mean())
    radius = widest
    at = model_of(laying, radius)
    settled = False
    rounds = 0
    while rounds < MAX_ROUNDS:
        rounds += 1
        answer = solve_convex(at.model, f_pattern=at.f_pattern, g_pattern=at.g_pattern)
        if not np.isfinite(answer.x).all():
            break
        foretold = at.model.merit - answer.primal
        broken = float(at.model.prices @ at.model.breaches)
        settled = foretold <= SETTLED + WAY_OUT * broken
        if settled or radius < SMALLEST_M:
            break
        step = answer.x
        tried = tight(_stepped(laying, step))
        there = model_of(tried, radius)
        fall = (at.model.merit - there.model.merit) / foretold
        if fall < 0.25:
            bent = solve_convex(
                _bent(at.model, there.model, step),
                f_pattern=at.f_pattern,
                g_pattern=at.g_pattern,
            )
            rounds += 1
            if np.isfinite(bent.x).all():
                again = tight(_stepped(laying, bent.x))
                other = model_of(again, radius)
                better = (at.model.merit - other.model.merit) / foretold
                if better > fall:
                    fall, tried, step = better, again, bent.x
        unit = _trust_of(laying, 1.0)
        sizes = np.append(unit, np.full(max(0, len(step) - len(unit)), unit[-1]))
        taken = float(np.abs(step / sizes[: len(step)]).max())
        if fall > FAIR:
            laying = tried
        if fall < 0.25:
            radius = 0.4 * min(taken, radius)
        elif fall > 0.75:
            radius = min(max(radius, 2.0 * taken), widest)
        at = model_of(laying, radius)
    breaches = at.model.breaches
    return Laid(
        laying=laying,
        wish=wish,
        bounds=bounds,
        objective=float(0.5 * at.model.f @ at.model.f),
        breaches=dict(zip(at.names, breaches.tolist(), strict=True)),
        duals=dict(zip(at.names, answer.limit_duals.tolist(), strict=True)),
        answer=answer,
        rounds=rounds,
        settled=settled,
    )


def _bent(model: ConvexModel, there: ConvexModel, x: FloatArray) -> ConvexModel:
    """Return a model moved so that it is exact after the step x, its slopes kept.

    The second-order correction: without it steps along a curved limit are refused, and
    the way along it is made in ever smaller ones.
    """
    h = there.h + model.g_matrix @ x
    return replace(
        model,
        f=there.f - model.f_matrix @ x,
        h=np.where(model.limit_of >= 0, h, model.h),
    )


def _stepped(laying: Laying, x: FloatArray) -> Laying:
    g = laying.n_geometry
    return laying.moved(x[:g], x[g : g + 2], x[g + 2 :])


def _trust_of(laying: Laying, radius: float) -> FloatArray:
    """Return the largest steps: metres, and a turn that moves the rail as far.

    The ends follow the speeds at cut-in and cut-out, so they get more.
    """
    g = laying.n_geometry
    sizes = np.full(g + 3, radius)
    sizes[g : g + 2] = 4.0 * radius
    if isinstance(laying, Straight):
        half = 0.5 * (laying.ends[1] - laying.ends[0])
        sizes[1] = min(radius / max(half, 1.0), 0.5)
    return sizes
