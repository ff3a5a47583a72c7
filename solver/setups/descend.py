"""A short way down from a good start: what refines a layout in a few trials."""

from collections.abc import Callable, Sequence
from math import inf

from ..rigs.layout import Steps


def descend(
    cost: Callable[[Steps], float],
    n: int,
    start: float,
    evaluations: int,
    enough: float = -inf,
    to_beat: float = inf,
) -> None:
    """Go down a cost of three steps, the first n of them free, from zero.

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
    points: list[Steps] = [(0.0, 0.0, 0.0)]
    points += [_FIRST[k] for k in range(n)]
    values = [start]
    used = 0

    def at(point: Steps) -> float:
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
        order = sorted(range(n + 1), key=values.__getitem__)
        points = [points[k] for k in order]
        values = [values[k] for k in order]
        centre = _mean(points[:-1])
        worst = points[-1]
        mirrored = _beyond(centre, worst, -1.0)
        value = at(mirrored)
        if value < values[0] and used < evaluations:
            further = _beyond(centre, worst, -2.0)
            far = at(further)
            points[-1], values[-1] = (
                (further, far) if far < value else (mirrored, value)
            )
        elif value < values[-2]:
            points[-1], values[-1] = mirrored, value
        elif used < evaluations:
            toward = mirrored if value < values[-1] else worst
            inner = _beyond(centre, toward, 0.5)
            near = at(inner)
            if near < min(value, values[-1]):
                points[-1], values[-1] = inner, near
            else:
                for k in range(1, n + 1):
                    if used >= evaluations:
                        break
                    points[k] = _beyond(points[0], points[k], 0.5)
                    values[k] = at(points[k])


_FIRST: tuple[Steps, ...] = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))


def _mean(points: Sequence[Steps]) -> Steps:
    x, y, z = (sum(each) / len(points) for each in zip(*points, strict=True))
    return x, y, z


def _beyond(start: Steps, end: Steps, times: float) -> Steps:
    """Return the point so many times as far from the start as the end is."""
    (x, y, z), (to_x, to_y, to_z) = start, end
    return x + times * (to_x - x), y + times * (to_y - y), z + times * (to_z - z)
