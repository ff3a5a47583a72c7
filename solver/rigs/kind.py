"""A kind of rig, as the choice of a setup knows it."""

from collections.abc import Callable
from dataclasses import dataclass

from ..laying.way import Way
from .layout import Layout, RigWish


@dataclass(frozen=True, kw_only=True, slots=True)
class RigKind:
    """A kind of rig.

    Attributes:
        name: as in the job.
        price: points that it costs before it has covered any ground.
        price_per_m: points for each metre that it covers.
        on_rail: whether a dolly moves on it.
        propose: returns layouts worth trying beside a way.
    """

    name: str
    price: float
    price_per_m: float
    on_rail: bool = True
    propose: Callable[[RigWish, Way], list[Layout]]

    def price_of(self, covered_m: float) -> float:
        """Return the points for laying it, and for every metre that it covers."""
        return self.price + self.price_per_m * covered_m
