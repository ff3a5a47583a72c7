"""What a plan costs: missing its targets, and the jerk of its blocks, as least squares.

A plan is a jerk a block, u in units of the limit, from a start with speed v0 and
acceleration a0. The miss is integrated over each block by Gauss-Legendre's five points.
"""

from typing import NamedTuple

import numpy as np

from ..arrays import FloatArray

Q_END_PLACE = 1.0
Q_END_SPEED = 0.3


class Cost(NamedTuple):
    """The plan's least-squares cost |E (v0, a0, u) - D g|^2, targets relative to x0."""

    states: FloatArray
    targets: FloatArray


def tracking_cost(
    lengths: FloatArray, nodes: FloatArray, *, jerk: float, speed_weight: float
) -> Cost:
    """Return the cost of missing the targets; the rows of the jerk's cost are zero.

    Args:
        lengths: block lengths, (n,) [s].
        nodes: target times, (m,) [s].
        jerk: jerk limit; u is in its units.
        speed_weight: weight of the speed error, [s^2].
    """
    states = affine_states(lengths, jerk)
    points, weights = np.polynomial.legendre.leggauss(5)
    n = len(lengths)
    rows, times, rates = [], [], []
    start = 0.0
    for i, h in enumerate(lengths):
        for point, weight in zip(points, weights, strict=True):
            t = (point + 1) / 2 * h
            x, v, _ = _advance(states[i], t, jerk, i)
            root = np.sqrt(weight / 2 * h)
            rows.append((x * root, v * root * np.sqrt(speed_weight)))
            times.append(start + t)
            rates.append(root)
        start += h
    value, slope = _interpolation(nodes, np.array(times))
    root = np.array(rates)[:, None]
    end_value, end_slope = _interpolation(nodes, np.array([start]))
    states_map = np.vstack(
        [
            np.array([r[0] for r in rows]),
            np.array([r[1] for r in rows]),
            np.zeros((n, 2 + n)),
            np.sqrt(Q_END_PLACE) * states[-1][0],
            np.sqrt(Q_END_SPEED) * states[-1][1],
        ]
    )
    target_map = np.vstack(
        [
            value * root,
            slope * root * np.sqrt(speed_weight),
            np.zeros((n, len(nodes))),
            np.sqrt(Q_END_PLACE) * end_value,
            np.sqrt(Q_END_SPEED) * end_slope,
        ]
    )
    return Cost(states_map, target_map)


def with_jerk_cost(
    tracking: Cost, lengths: FloatArray, *, jerk: float, stiffness: float
) -> Cost:
    """Return a cost with the rows that price the jerk of each block.

    Args:
        tracking: cost of missing the targets.
        lengths: block lengths, (n,) [s].
        jerk: jerk limit.
        stiffness: in rad/s; higher follows the target harder.
    """
    n = len(lengths)
    states = tracking.states.copy()
    states[-2 - n : -2, 2:] = np.diag(jerk * stiffness**-3.0 * np.sqrt(lengths))
    return Cost(states, tracking.targets)


def affine_states(lengths: FloatArray, jerk: float) -> list[FloatArray]:
    """Return (3, 2 + n) maps from (v0, a0, u) to (x - x0, v, a) at block starts."""
    n = len(lengths)
    state = np.zeros((3, 2 + n))
    state[1, 0] = state[2, 1] = 1.0
    states = [state]
    for i, h in enumerate(lengths):
        states.append(_advance(states[-1], h, jerk, i))
    return states


def _advance(state: FloatArray, t: float, jerk: float, block: int) -> FloatArray:
    """Return the affine state `t` seconds into a block that starts at `state`."""
    x, v, a = state
    u = np.zeros(state.shape[1])
    u[2 + block] = jerk
    return np.array(
        [x + v * t + a * t**2 / 2 + u * t**3 / 6, v + a * t + u * t**2 / 2, a + u * t]
    )


def _interpolation(nodes: FloatArray, t: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return value and rate at `t` of the polynomial through node values, as maps."""
    span = nodes[-1]
    vandermonde = np.vander(nodes / span, increasing=True)
    inverse = np.linalg.inv(vandermonde)
    powers = np.vander(t / span, len(nodes), increasing=True)
    slopes = np.zeros_like(powers)
    slopes[:, 1:] = powers[:, :-1] * np.arange(1, len(nodes)) / span
    return powers @ inverse, slopes @ inverse
