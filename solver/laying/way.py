"""The way of a shot's subjects over the ground, and the curves that keep beside it.

A curve of ideal places at a fixed distance and bearing is the way itself, moved: it is
fitted once for all lenses and views, and moved with them. What has to be fitted for a
distance and a bearing is remembered: most changes of what is asked leave it as it is.
"""

from functools import cached_property
from typing import Generic, NamedTuple, TypeVar

import numpy as np

from ..arrays import FloatArray
from .fit_arc import ArcFit, arc_through
from .fit_line import LineFit, fit_line
from .fit_sticks import fit_sticks

FAST_SHARE = 0.95  # quantile of the speed that a follow is laid for

Fit = TypeVar("Fit", LineFit, ArcFit)


class Curve(NamedTuple, Generic[Fit]):
    """A line or an arc through ideal places, and how it is travelled.

    Attributes:
        fit: the curve.
        low_m, high_m: range of `fit.s` [m].
        ends_m_s: speed along it at both ends of the shot.
        fast_m_s: speed that is exceeded in a twentieth of the way.
    """

    fit: Fit
    low_m: float
    high_m: float
    ends_m_s: tuple[float, float]
    fast_m_s: float


class Way:
    """Where the subjects go."""

    def __init__(
        self,
        *,
        times_s: FloatArray,
        centre: FloatArray,
        headings: FloatArray,
        ratio: FloatArray,
        eyes_m: float,
    ) -> None:
        """Take a way.

        Args:
            times_s: of its n nodes, (n,).
            centre: of the subjects on the ground, (n, 2) [m].
            headings: of the primary, (n,) [rad].
            ratio: of the asked distance to the first, (n,).
            eyes_m: height of the primary's eyes.
        """
        self.times_s, self.centre, self.ratio = times_s, centre, ratio
        self.eyes_m = eyes_m
        self.resizes = bool(np.ptp(ratio) > 0)
        self._headings = np.unwrap(headings)
        self._stands: dict[tuple[float, float, float], tuple[float, float]] = {}
        self._swung: dict[tuple[float, float], Curve[ArcFit] | None] = {}

    @cached_property
    def bend(self) -> float:
        """+1 where the way bends to the left, -1 to the right, +1 where it is straight.

        In a mirrored scene it is the other one.
        """
        start, middle, end = self.centre[[0, len(self.centre) // 2, -1]]
        one, two = middle - start, end - middle
        turn = float(one[1] * two[0] - one[0] * two[1])
        return 1.0 if turn >= 0.0 else -1.0

    def stand(
        self, bearing_rad: float, distance_m: float, weight_azimuth: float
    ) -> tuple[float, float]:
        """Return where sticks stand best, x and z [m]; see `fit_sticks`.

        Args:
            bearing_rad: of the camera from the subjects, in the world.
            distance_m: at the first size.
            weight_azimuth: how much the bearing counts.
        """
        key = (bearing_rad, distance_m, weight_azimuth)
        place = self._stands.get(key)
        if place is None:
            far = distance_m * self.ratio
            x, z = fit_sticks(self.centre, far, bearing_rad, weight_azimuth).tolist()
            place = self._stands[key] = (x, z)
        return place

    def line(self, beside: FloatArray) -> Curve[LineFit]:
        """Return the line through places beside the way, by (2,) [m] at first."""
        if self.resizes:
            return self._line_through(self.centre + self.ratio[:, None] * beside)
        fit = self._line.fit
        return self._line._replace(fit=fit._replace(origin=fit.origin + beside))

    def arc(self, beside: FloatArray) -> Curve[ArcFit] | None:
        """Return the arc through places beside the way, None where it is straight."""
        if self.resizes:
            return self._arc_through(self.centre + self.ratio[:, None] * beside)
        if self._arc is None:
            return None
        fit = self._arc.fit
        return self._arc._replace(fit=fit._replace(centre=fit.centre + beside))

    def swung(self, bearing_rad: float, distance_m: float) -> Curve[ArcFit] | None:
        """Return the arc through places that turn with the subjects.

        Args:
            bearing_rad: of the camera from the subjects' heading.
            distance_m: at the first size.
        """
        key = (bearing_rad, distance_m)
        if key not in self._swung:
            turned = self._headings + bearing_rad
            off = np.column_stack([np.sin(turned), np.cos(turned)])
            away = (distance_m * self.ratio)[:, None] * off
            self._swung[key] = self._arc_through(self.centre - away)
        return self._swung[key]

    @cached_property
    def _line(self) -> Curve[LineFit]:
        return self._line_through(self.centre)

    @cached_property
    def _arc(self) -> Curve[ArcFit] | None:
        return self._arc_through(self.centre)

    def _line_through(self, places: FloatArray) -> Curve[LineFit]:
        return self._travelled(fit_line(places, self.times_s))

    def _arc_through(self, places: FloatArray) -> Curve[ArcFit] | None:
        fit = arc_through(places, self.times_s)
        return None if fit is None else self._travelled(fit)

    def _travelled(self, fit: Fit) -> Curve[Fit]:
        s, times = fit.s, self.times_s
        speeds = (s[1:] - s[:-1]) / (times[1:] - times[:-1])
        return Curve(
            fit=fit,
            low_m=float(s.min()),
            high_m=float(s.max()),
            ends_m_s=(float(speeds[0]), float(speeds[-1])),
            fast_m_s=quantile(np.abs(speeds), FAST_SHARE),
        )


def quantile(values: FloatArray, share: float) -> float:
    """Return the quantile of (n,) values, n >= 1, linear between two of them."""
    ranked = np.sort(values)
    at = share * (len(ranked) - 1)
    low = int(at)
    high = min(low + 1, len(ranked) - 1)
    return float(ranked[low] + (at - low) * (ranked[high] - ranked[low]))
