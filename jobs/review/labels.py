"""Places for the labels of a drawing: none on another, nor on what it names."""

from math import cos, dist, pi, sin

import numpy as np

from ...solver.arrays import FloatArray
from .svg import Box, Point

LETTER_PX = 6.6  # width of a letter, about
_RISE_PX, _FALL_PX = 9.0, 2.0  # of a letter over and under its base line
_WAYS = 12
_FARTHER_PX = (0.0, 6.0, 12.0, 20.0)


_Area = tuple[float, float, float, float]
"""Left, top, right and bottom [px]."""


class Labels:
    """What a drawing has no room for any more.

    Args:
        box: of the drawing; labels stay inside.
    """

    def __init__(self, box: Box) -> None:
        """Start with a drawing that has room everywhere."""
        self._box = box
        self._taken = np.empty((0, 4))

    def keep_clear(self, points: FloatArray, half_px: float) -> None:
        """Keep labels off points (n, 2) [px], `half_px` to each side."""
        known = points[np.isfinite(points).all(axis=1)]
        self._take(np.hstack([known - half_px, known + half_px]))

    def place(self, words: str, *, of: Point, wanted: Point) -> Point:
        """Return the middle of a label's base line, and take the room there.

        It is the free place nearest to the wanted one, on the way round what it names
        or farther off; the wanted one where there is none.

        Args:
            words: of the label.
            of: what it names [px].
            wanted: where it would best stand [px].
        """
        area = _area(words, wanted)
        if not self._is_free(area):
            for place in _around(of, wanted):
                if self._is_free(_area(words, place)):
                    wanted, area = place, _area(words, place)
                    break
        self._take(np.array([area]))
        return wanted

    def _take(self, areas: FloatArray) -> None:
        self._taken = np.vstack([self._taken, areas])

    def _is_free(self, area: _Area) -> bool:
        left, top, right, bottom = area
        box, taken = self._box, self._taken
        if left < box.left or right > box.right or top < box.top or bottom > box.bottom:
            return False
        hits = (taken[:, 0] < right) & (taken[:, 2] > left)
        hits &= (taken[:, 1] < bottom) & (taken[:, 3] > top)
        return not hits.any()


def _area(words: str, place: Point) -> _Area:
    """Return what a label covers whose base line has its middle at a place."""
    half = LETTER_PX * len(words) / 2
    x, y = place
    return (x - half, y - _RISE_PX, x + half, y + _FALL_PX)


def _around(of: Point, wanted: Point) -> list[Point]:
    """Return places round a point and farther off, the nearest to the wanted first."""
    reach = dist(of, wanted)
    angles = [2 * pi * k / _WAYS for k in range(_WAYS)]
    places = [
        (of[0] + (reach + more) * cos(angle), of[1] + (reach + more) * sin(angle))
        for more in _FARTHER_PX
        for angle in angles
    ]
    return sorted(places, key=lambda place: dist(place, wanted))
