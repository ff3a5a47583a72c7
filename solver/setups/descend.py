"""A short way down from a good start: what refines a layout in a few trials."""

from collections.abc import Callable

import numpy as np

from ..arrays import FloatArray


def descend(
    cost: Callable[[FloatArray], float],
    n: int,
    start: float,
    evaluations: int,
    enough: float = -np.inf,
    to_beat: float = np.inf,
) -> None:
    """Go down a cost of (3,) steps, the first n of them free, from zero.

    The simplex of Nelder & Mead 1965 (The Computer Journal 7:308-313) with a fixed
    first simplex, a fixed order and at most so many evaluations.

    Args:
        cost: of three steps.
        n: steps that are free, 1 to 3.
        start: cost at zero.
        evaluations: of the cost, about; a round that is begun is ended.
        enough: a cost at which to stop before the next round.
        to_beat: a cost; halfway, a search is given up that would not come to it by
            gaining as much again.
    """
    points = [np.zeros(3)] + [np.eye(3)[k] for k in range(n)]
    values = [start]
    used = 0

    def at(point: FloatArray) -> float:
        nonlocal used
        used += 1
        return cost(point)

    for point in points[1:]:
        values.append(at(point))
    while used < evaluations:
        best = min(values)
        hopeless = 2 * used >= evaluations and 2 * best - start > to_beat
        if best <= enough or hopeless:
            break
        order = np.argsort(np.array(values), kind="stable")
        points = [points[k] for k in order]
        values = [values[k] for k in order]
        centre = np.mean(points[:-1], axis=0)
        worst = points[-1]
        mirrored = centre + (centre - worst)
        value = at(mirrored)
        if value < values[0] and used < evaluations:
            further = centre + 2 * (centre - worst)
            far = at(further)
            points[-1], values[-1] = (
                (further, far) if far < value else (mirrored, value)
            )
        elif value < values[-2]:
            points[-1], values[-1] = mirrored, value
        elif used < evaluations:
            toward = mirrored if value < values[-1] else worst
            inner = centre + 0.5 * (toward - centre)
            near = at(inner)
            if near < min(value, values[-1]):
                points[-1], values[-1] = inner, near
            else:
                for k in range(1, n + 1):
                    if used >= evaluations:
                        break
                    points[k] = points[0] + 0.5 * (points[k] - points[0])
                    values[k] = at(points[k])
