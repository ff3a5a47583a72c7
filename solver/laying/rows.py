"""The objective and every limit of a laying, first order in its steps.

The objective is the mean over the nodes of

    (log^2(|c - q| / D) + w wrap(azimuth(q -> c) - asked)^2) / 2.

All is exact at x = 0, so the same model also measures a laying. Speeds and
accelerations are differences of neighbouring nodes. Floor and keep-outs hold for points
of the rail, its run-up and run-out included; a floor is convex and a half-plane parts a
keep-out, so for straight track the two ends say all.

Prices put one unit of each limit's breach on one scale: a metre of floor, of keep-out
or of rail, half a metre of least distance, a quarter of size, speed or acceleration,
a third of a radian of view.

Source: our derivation; gradients held against differences in tests/solver.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from math import log, pi

import numpy as np

from ..arrays import BoolArray, FloatArray
from ..stage.stage import floor_rows
from .apart import corners_of, part, part_from_fixed
from .convex_model import ConvexModel
from .laying import Bounds, Laying, Wish, reached

UNBOUND = 1e3  # a bound that nothing meets [m]


@dataclass(frozen=True, kw_only=True, slots=True)
class _Rows:
    """Rows a . x <= b of one limit; `touched` are the entries that need not be 0."""

    name: str
    price: float
    a: FloatArray
    b: FloatArray
    touched: BoolArray


@dataclass(frozen=True, kw_only=True, slots=True)
class Linearised:
    """A laying's convex model with its patterns.

    `names` are its limits, in the order of the slacks.
    """

    model: ConvexModel
    names: tuple[str, ...]
    f_pattern: BoolArray
    g_pattern: BoolArray


def limit_names(bounds: Bounds, *, moving: bool) -> tuple[str, ...]:
    """Return the names of the limits of a laying, in the order of a model's slacks."""
    stage = bounds.stage
    dolly = ("dolly_speed", "dolly_accel", "rail") if moving else ()
    n_edges = 0 if stage.floor is None else len(stage.floor)
    return (
        "size",
        "min_distance",
        "view",
        "pan_speed",
        "pan_accel",
        *dolly,
        *(f"floor edge {k + 1}" for k in range(n_edges)),
        *(f"keep_out {stage.names[k]}" for k in in_the_way(bounds)),
        *(f"sight past {stage.names[k]}" for k in _in_the_view(bounds)),
    )


def linearised(
    laying: Laying, wish: Wish, bounds: Bounds, trust: FloatArray
) -> Linearised:
    """Return the convex model of a laying.

    Args:
        laying: the iterate.
        wish: at the same nodes as the laying.
        bounds: limits; an infinite one has no rows.
        trust: largest step of the geometry, of either end and of s, (n_geometry + 3,).
    """
    near = _near(laying, wish)
    soft = list(_limits(near, wish, bounds))
    hard = [_trust(near, trust), *_ends(near, wish, bounds)]
    names = limit_names(bounds, moving=near.moving)
    index = {name: k for k, name in enumerate(names)}
    limit_of = [np.full(len(r.b), index[r.name], dtype=np.int64) for r in soft]
    limit_of += [np.full(len(r.b), -1, dtype=np.int64) for r in hard]
    prices = np.ones(len(names))
    for row in soft:
        prices[index[row.name]] = row.price
    rows = soft + hard
    scale = 1.0 / np.sqrt(len(wish.times_s))
    root = np.sqrt(wish.weight_azimuth)
    return Linearised(
        model=ConvexModel(
            f_matrix=scale * np.concatenate((near.log_rows, root * near.turn_rows)),
            f=scale * np.concatenate((near.log_miss, root * near.turn_miss)),
            g_matrix=np.concatenate([row.a for row in rows]),
            h=np.concatenate([row.b for row in rows]),
            limit_of=np.concatenate(limit_of),
            prices=prices,
        ),
        names=names,
        f_pattern=np.concatenate((near.touched, near.touched)),
        g_pattern=np.concatenate([row.touched for row in rows]),
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class _Near:
    """A laying and its first derivatives by x, (n,).

    Places and what depends on them are those of the N nodes; points those of the rail.
    `touched` (N, n) are the entries that a node's rows may have.
    """

    laying: Laying
    moving: bool
    n: int
    places: FloatArray
    place_rows: FloatArray
    points: FloatArray
    point_rows: FloatArray
    bulge_m: float
    bulge_rows: FloatArray
    gap: FloatArray
    log_miss: FloatArray
    log_rows: FloatArray
    azimuth: FloatArray
    turn_miss: FloatArray
    turn_rows: FloatArray
    touched: BoolArray

    def on_rail(self, n_rows: int) -> BoolArray:
        """Return the pattern of rows in geometry and ends alone."""
        touched = np.zeros((n_rows, self.n), np.bool_)
        touched[:, : self.laying.n_geometry + 2] = True
        return touched


def _near(laying: Laying, wish: Wish) -> _Near:
    n_nodes, g = len(wish.times_s), laying.n_geometry
    moving = len(laying.s) > 0
    n = g + 2 + n_nodes if moving else g
    places, by_geometry, along = laying.at(laying.s if moving else np.zeros(n_nodes))
    place_rows = np.zeros((n_nodes, 2, n))
    touched = np.zeros((n_nodes, n), np.bool_)
    touched[:, :g] = True
    place_rows[:, :, :g] = by_geometry
    if moving:
        nodes = np.arange(n_nodes)
        place_rows[nodes, :, g + 2 + nodes] = along
        touched[nodes, g + 2 + nodes] = True
    share = np.linspace(0.0, 1.0, laying.n_points)
    low, high = laying.ends
    points, by_geometry, along = laying.at(low + share * (high - low))
    point_rows = np.zeros((laying.n_points, 2, n))
    point_rows[:, :, :g] = by_geometry
    if moving:
        point_rows[:, :, g] = (1.0 - share)[:, None] * along
        point_rows[:, :, g + 1] = share[:, None] * along
    bulge_m, by_step = laying.bulge()
    bulge_rows = np.zeros(n)
    if moving:
        bulge_rows[: g + 2] = by_step
    off = places - wish.subject
    square = np.maximum(np.einsum("kc,kc->k", off, off), 1e-6)
    azimuth = np.arctan2(-off[:, 0], -off[:, 1])
    turn = azimuth - wish.azimuth
    across = np.column_stack((off[:, 1], -off[:, 0])) / square[:, None]
    return _Near(
        laying=laying,
        moving=moving,
        n=n,
        places=places,
        place_rows=place_rows,
        points=points,
        point_rows=point_rows,
        bulge_m=bulge_m,
        bulge_rows=bulge_rows,
        gap=np.sqrt(square),
        log_miss=0.5 * np.log(square) - np.log(wish.distance_m),
        log_rows=np.einsum("kc,kcn->kn", off / square[:, None], place_rows),
        azimuth=np.unwrap(azimuth),
        turn_miss=turn - 2 * pi * np.round(turn / (2 * pi)),
        turn_rows=np.einsum("kc,kcn->kn", across, place_rows),
        touched=touched,
    )


def _both(
    at: FloatArray, a: FloatArray, touched: BoolArray, *, of: tuple[str, float, float]
) -> _Rows:
    """Return |at + a x| <= bound of a limit: its name, price and bound."""
    name, price, bound = of
    return _Rows(
        name=name,
        price=price,
        a=np.concatenate((a, -a)),
        b=np.concatenate((bound - at, bound + at)),
        touched=np.concatenate((touched, touched)).astype(np.bool_),
    )


def _limits(near: _Near, wish: Wish, bounds: Bounds) -> Iterator[_Rows]:
    """Yield the rows of every limit that has a slack."""
    if np.isfinite(wish.size_band):
        size = ("size", 1.0 / log(1.25), log(wish.size_band))
        yield _both(near.log_miss, near.log_rows, near.touched, of=size)
    yield _Rows(
        name="min_distance",
        price=2.0,
        a=-near.gap[:, None] * near.log_rows,
        b=near.gap - bounds.stage.min_distance_m,
        touched=near.touched,
    )
    if np.isfinite(wish.view_band):
        view = ("view", 3.0, wish.view_band)
        yield _both(near.turn_miss, near.turn_rows, near.touched, of=view)
    for order, most in ((1, bounds.pan_speed), (2, bounds.pan_accel)):
        yield from _rate("pan", order, most, wish, near.azimuth, near.turn_rows, near)
    if near.moving:
        g, s = near.laying.n_geometry, near.laying.s
        s_rows = np.zeros((len(s), near.n))
        s_rows[np.arange(len(s)), g + 2 + np.arange(len(s))] = 1.0
        for order, most in ((1, bounds.dolly_speed), (2, bounds.dolly_accel)):
            yield from _rate("dolly", order, most, wish, s, s_rows, near)
        if np.isfinite(bounds.rail_m):
            row = np.zeros((1, near.n))
            row[0, g], row[0, g + 1] = -1.0, 1.0
            low, high = near.laying.ends
            free = np.array([bounds.rail_m - high + low])
            yield _Rows(name="rail", price=1.0, a=row, b=free, touched=near.on_rail(1))
    yield from _floor(near, bounds)
    yield from _boxes(near, bounds)
    yield from _sights(near, wish, bounds)


def _rate(
    what: str,
    order: int,
    most: float,
    wish: Wish,
    at: FloatArray,
    rows: FloatArray,
    near: _Near,
) -> Iterator[_Rows]:
    """Yield the speed (order 1) or acceleration (2) of a quantity at the nodes."""
    if not np.isfinite(most):
        return
    step, touched = wish.step_s**order, near.touched
    for _ in range(order):
        touched = touched[1:] | touched[:-1]
    name = f"{what}_{('speed', 'accel')[order - 1]}"
    yield _both(
        np.diff(at, n=order) / step,
        np.diff(rows, n=order, axis=0) / step,
        touched,
        of=(name, 4.0 / most, most),
    )


def _floor(near: _Near, bounds: Bounds) -> Iterator[_Rows]:
    """Yield each edge of the floor for every point of the rail."""
    normals, reach = floor_rows(bounds.stage)
    for k, (normal, bound) in enumerate(zip(normals, reach, strict=True)):
        yield _Rows(
            name=f"floor edge {k + 1}",
            price=1.0,
            a=np.einsum("c,jcn->jn", normal, near.point_rows) + near.bulge_rows,
            b=bound - bounds.margin_m - near.bulge_m - near.points @ normal,
            touched=near.on_rail(len(near.points)),
        )


def _boxes(near: _Near, bounds: Bounds) -> Iterator[_Rows]:
    """Yield one half-plane for each keep-out and stretch of rail."""
    chosen = in_the_way(bounds)
    if not chosen:
        return
    corners = corners_of(bounds.stage.keep_outs[chosen])
    last = max(1, len(near.points) - 1)
    ends = (slice(0, last), slice(len(near.points) - last, None))
    start, end = near.points[ends[0]], near.points[ends[1]]
    start_rows, end_rows = near.point_rows[ends[0]], near.point_rows[ends[1]]
    parted = part(start, end, corners)
    room, room_rows = bounds.clearance_m + near.bulge_m, near.bulge_rows
    for k, box in enumerate(chosen):
        n, rows, free = parted.normals[:, k], [], []
        for side in range(2):
            share = parted.shares[:, k, side, None]
            at = (1.0 - share) * start + share * end
            by_x = (1.0 - share)[..., None] * start_rows + share[..., None] * end_rows
            rows.append(room_rows - np.einsum("jc,jcn->jn", n, by_x))
            reach = parted.reaches[:, k, side] + room
            free.append(np.einsum("jc,jc->j", n, at) - reach)
        yield _Rows(
            name=f"keep_out {bounds.stage.names[box]}",
            price=1.0,
            a=np.concatenate(rows),
            b=np.concatenate(free),
            touched=near.on_rail(2 * last),
        )


def _sights(near: _Near, wish: Wish, bounds: Bounds) -> Iterator[_Rows]:
    """Yield one half-plane for each keep-out that may not hide, and node."""
    chosen = _in_the_view(bounds)
    if not chosen:
        return
    corners = corners_of(bounds.stage.keep_outs[chosen])
    normals, reach = part_from_fixed(wish.subject, near.places, corners)
    for k, box in enumerate(chosen):
        free = np.einsum("jc,jc->j", normals[:, k], near.places) - reach[:, k]
        yield _Rows(
            name=f"sight past {bounds.stage.names[box]}",
            price=1.0,
            a=-np.einsum("jc,jcn->jn", normals[:, k], near.place_rows),
            # A subject inside the box can't be seen past it from anywhere.
            b=np.where(np.isfinite(free), free, UNBOUND),
            touched=near.touched,
        )


def _trust(near: _Near, trust: FloatArray) -> _Rows:
    """Return the region in which the model is believed."""
    rows = np.eye(near.n)
    size = np.append(trust, np.full(max(0, near.n - len(trust)), trust[-1]))[: near.n]
    return _Rows(
        name="trust",
        price=0.0,
        a=np.concatenate((rows, -rows)),
        b=np.concatenate((size, size)),
        touched=np.concatenate((rows, rows)) != 0.0,
    )


def _ends(near: _Near, wish: Wish, bounds: Bounds) -> Iterator[_Rows]:
    """Yield that the rail goes on as far as the dolly needs it."""
    if not near.moving:
        return
    laying, g = near.laying, near.laying.n_geometry
    places, by_s = reached(laying, wish.step_s, bounds.dolly_accel)
    rows = np.zeros((len(places), near.n))
    rows[:, g + 2 :] = by_s
    touched = rows != 0
    touched[:, g : g + 2] = True
    touched[len(laying.s) :, g + 2 :] = True
    for column, way, end in ((g, 1.0, laying.ends[0]), (g + 1, -1.0, laying.ends[1])):
        a = -way * rows
        a[:, column] = way
        yield _Rows(
            name="ends", price=0.0, a=a, b=way * (places - end), touched=touched
        )


def in_the_way(bounds: Bounds) -> list[int]:
    """Return which keep-outs a rail must pass: all but those above the lens."""
    boxes = bounds.stage.keep_outs
    return [k for k in range(len(boxes)) if boxes[k, 0, 1] <= bounds.height_m]


def _in_the_view(bounds: Bounds) -> list[int]:
    """Return which keep-outs may not hide the subject, and are as high as it."""
    boxes, forbidden = bounds.stage.keep_outs, bounds.stage.sight_forbidden
    low, high = sorted((bounds.height_m, bounds.aim_m))
    return [
        k
        for k in range(len(boxes))
        if forbidden[k] and boxes[k, 0, 1] <= high and boxes[k, 1, 1] >= low
    ]
