"""The best laying that a floor, keep-outs, stock and a crew's limits allow.

A sequential convex programme with an exact penalty: at each laying the model of
`laying_rows` is solved within a trust region; its step is taken where the merit, the
objective plus the priced breaches of the true limits, falls by a fair share of what the
model foretold. It ends at a laying whose own model has nothing left to win, so the last
answer's certificate is that of the laying. Breaches that remain are the cheapest way
out in the neighbourhood: they name the limits to relax, and by how much.

No causality is asked here: this is what a crew that knows the whole action could do.

Source: Fletcher 1987, Practical Methods of Optimization, section 14.4 (l1 penalty with
trust region; from memory).
"""

from dataclasses import dataclass, replace
from math import atan2, ceil, pi

import numpy as np

from .arrays import FloatArray
from .convex_model import ConvexAnswer, solve_convex
from .fit_arc import ArcFit
from .fit_line import LineFit
from .laying import Bounds, Curved, Laying, Standing, Straight, Wish, tightened
from .laying_rows import Linearised, in_the_way, linearised
from .stage import floor_rows

MAX_ROUNDS = 30
SETTLED = 1e-6  # fall of the merit that is left at the end
WAY_OUT = 1e-4  # the same as a share of the priced breaches
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
    def binding(self) -> tuple[str, ...]:
        """Names of the limits that cost something, the dearest first."""
        dear = [name for name, dual in self.duals.items() if dual > 1e-6]
        return tuple(sorted(dear, key=lambda name: -self.duals[name]))

    @property
    def places(self) -> FloatArray:
        """Places of the lens on the ground at the nodes, (N, 2) [m]."""
        n = len(self.wish.times_s)
        s = self.laying.s if len(self.laying.s) else np.zeros(n)
        return self.laying.at(s)[0]


def feasible_sticks(wish: Wish, bounds: Bounds, place: FloatArray) -> Laid:
    """Return the best place for sticks near one, (2,) [m].

    Where it breaks a limit, places all round the subject are tried too.
    """
    found = lay(Standing(place=np.asarray(place, dtype=np.float64)), wish, bounds)
    if found.feasible:
        return found
    middle, distance = wish.subject.mean(axis=0), float(wish.distance_m.mean())
    angles = wish.azimuth[0] + np.arange(4) * pi / 2
    ring = middle - distance * np.column_stack((np.sin(angles), np.cos(angles)))
    tries = [lay(Standing(place=point), wish, bounds) for point in ring]
    return best_of([found, *tries])


def feasible_line(wish: Wish, bounds: Bounds, line: LineFit) -> Laid:
    """Return the best straight track near a fitted line.

    Args:
        wish: at the times of the line's fit or at other nodes that span them.
        bounds: limits.
        line: where to begin; its motion is read at equal steps.
    """
    straight = Straight(
        origin=line.origin,
        angle=atan2(line.direction[1], line.direction[0]),
        s=_at_nodes(line.s, len(wish.times_s)),
        ends=(float(line.s.min()), float(line.s.max())),
    )
    found = _around_keep_outs(straight, wish, bounds)
    section, length = bounds.stage.straight_m, found.laying.ends
    if section is None or not found.feasible:
        return found
    for n in range(ceil((length[1] - length[0]) / section - 1e-9), 0, -1):
        whole = in_sections(found, n * section)
        if whole is not None:
            return whole
        shorter = replace(bounds, rail_m=min(bounds.rail_m, (n - 1) * section))
        if n > 1:
            found = lay(found.laying, wish, shorter)
    return found


def in_sections(found: Laid, length_m: float) -> Laid | None:
    """Return a straight laying whose rail is drawn out to a length, if there is room.

    The rail is drawn out at both ends alike as far as floor and keep-outs let it.
    """
    laying = found.laying
    assert isinstance(laying, Straight)
    low, high = laying.ends
    first, last = room_along(found.bounds, laying.origin, laying.direction, low, high)
    spare = length_m - (high - low)
    if spare < -1e-9 or last - first < length_m:
        return None
    start = min(max(low - spare / 2, first), last - length_m)
    start = min(max(start, high - length_m), low)
    ends = np.array((start - low, start + length_m - high))
    none = np.zeros_like(laying.s)
    return replace(found, laying=laying.moved(np.zeros(2), ends, none))


def feasible_arc(wish: Wish, bounds: Bounds, arc: ArcFit) -> Laid:
    """Return the best arc near a fitted one, of the stock's radii if it names any."""
    radii = bounds.stage.curve_radii_m
    length = arc.radius * abs(arc.sweep)
    middle = arc.start + arc.sweep / 2
    out = -np.array((np.sin(middle), np.cos(middle)))
    s = _at_nodes(arc.s, len(wish.times_s)) - length / 2
    begun = Curved(
        centre=arc.centre,
        radius=arc.radius,
        angle=middle,
        turn=1.0 if arc.sweep > 0 else -1.0,
        s=s,
        ends=(float(s.min()), float(s.max())),
        free_radius=not radii,
    )
    tries = [
        lay(
            replace(begun, radius=r, centre=arc.centre + (arc.radius - r) * out),
            wish,
            bounds,
        )
        for r in radii or (arc.radius,)
    ]
    return best_of(tries)


def rehearsed(wish: Wish, bounds: Bounds, laying: Laying) -> Laid:
    """Return what a fully rehearsed crew could do on a rig that stands already.

    The yardstick for an operated take: the same programme with the rail held, and no
    causality asked of the dolly.
    """
    return lay(laying, wish, bounds, held=True)


def best_of(tries: list[Laid]) -> Laid:
    """Return the laying of least merit that keeps its limits, if any does."""
    return min(tries, key=lambda laid: (not laid.feasible, laid.merit))


def lay(
    laying: Laying,
    wish: Wish,
    bounds: Bounds,
    *,
    held: bool = False,
    yielding: tuple[str, ...] = ("",),
) -> Laid:
    """Run the sequential programme from one laying.

    Args:
        laying: where to begin; it may break limits.
        wish: at the laying's nodes.
        bounds: limits.
        held: whether the rail stays as it is.
        yielding: beginnings of the names of limits that may be broken at their price
            where not all can be kept; the others cost a hundred times theirs.
    """

    def model_of(at: Laying, radius: float) -> Linearised:
        found = linearised(at, wish, bounds, _trust_of(at, radius), held=held)
        firm = [FIRM ** (not name.startswith(yielding)) for name in found.names]
        model = replace(found.model, prices=found.model.prices * np.array(firm))
        return replace(found, model=model)

    def tight(at: Laying) -> Laying:
        return at if held else tightened(at, wish.step_s, bounds.dolly_accel)

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
        tried = tight(_stepped(laying, answer.x))
        there = model_of(tried, radius)
        fall = (at.model.merit - there.model.merit) / foretold
        unit = _trust_of(laying, 1.0)
        sizes = np.append(unit, np.full(max(0, len(answer.x) - len(unit)), unit[-1]))
        taken = float(np.abs(answer.x / sizes[: len(answer.x)]).max())
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


def room_along(
    bounds: Bounds, origin: FloatArray, direction: FloatArray, low: float, high: float
) -> tuple[float, float]:
    """Return how far a rail from `low` to `high` can be drawn out, as places on it [m].

    The rail itself must be clear. Exact: the floor cuts the line at its edges, a box
    where the line enters its footprint, widened by the clearance.
    """
    first, last = -np.inf, np.inf
    for normal, bound in zip(*floor_rows(bounds.stage), strict=True):
        rate, free = normal @ direction, bound - bounds.margin_m - normal @ origin
        if rate > 1e-12:
            last = min(last, free / rate)
        elif rate < -1e-12:
            first = max(first, free / rate)
    for k in in_the_way(bounds):
        enter, leave = -np.inf, np.inf
        corners = bounds.stage.keep_outs[k][:, ::2]
        for axis in range(2):
            near = corners[0, axis] - bounds.clearance_m - origin[axis]
            far = corners[1, axis] + bounds.clearance_m - origin[axis]
            if abs(direction[axis]) > 1e-12:
                cuts = sorted((near / direction[axis], far / direction[axis]))
                enter, leave = max(enter, cuts[0]), min(leave, cuts[1])
            elif near > 0.0 or far < 0.0:
                leave = -np.inf
        if enter <= leave and enter >= high - 1e-6:
            last = min(last, enter)
        elif enter <= leave and leave <= low + 1e-6:
            first = max(first, leave)
    return min(float(first), low), max(float(last), high)


def _around_keep_outs(straight: Straight, wish: Wish, bounds: Bounds) -> Laid:
    """Lay track, and where a keep-out stops it, try again from beside each."""
    found = lay(straight, wish, bounds)
    if found.feasible:
        return found
    tries = [found]
    for low, high in bounds.stage.keep_outs[:, :, ::2]:
        half = 0.5 * float(np.hypot(*(high - low))) + bounds.clearance_m
        off = (0.5 * (low + high) - straight.origin) @ straight.normal
        for side in (-1.0, 1.0):
            shift = (off + side * half) * straight.normal
            beside = replace(straight, origin=straight.origin + shift)
            tries.append(lay(beside, wish, bounds))
    return best_of(tries)


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


def _at_nodes(s: FloatArray, n_nodes: int) -> FloatArray:
    """Return places along a rail at equal steps."""
    steps = np.linspace(0.0, len(s) - 1.0, n_nodes)
    return np.interp(steps, np.arange(len(s)), s)
