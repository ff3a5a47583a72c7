"""The set that a shot is taken in: named parts of triangles, as cameras meet them."""

from copy import copy
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from ..arrays import BoolArray, FloatArray, IntArray, frozen
from ..errors import SolverError
from .creases import Edges, edges_of
from .tree import (
    OUT,
    WILD,
    TriangleTree,
    inside_of,
    met_by_lines,
    tree_of,
)

HOLLOW_SHARE = 0.5  # of the places of somebody: what holds them is a room, not a solid


def _solid(names: tuple[str, ...], wild: BoolArray) -> IntArray:
    state = np.zeros(len(names), dtype=np.int64)
    state[wild] = WILD
    return state


@dataclass(frozen=True, eq=False)
class SetMesh:
    """Triangles of a set, metres, Y up.

    Attributes:
        names: of its k parts.
        wild: parts that may be taken out, (k,).
        corners: of the triangles, (t, 3, 3) [m].
        part: of each triangle, (t,).
        flags: of each triangle, `THIN` and `CLOSED`, (t,).
        state: of each part: `SOLID`, `WILD` or `OUT`, (k,).
        hollow: closed parts that people stand in, (k,).
        found: what was computed of the triangles, which every state of them shares.
    """

    names: tuple[str, ...]
    wild: BoolArray
    corners: FloatArray
    part: IntArray
    flags: IntArray
    state: IntArray = field(default_factory=lambda: np.empty(0, np.int64))
    hollow: BoolArray = field(default_factory=lambda: np.empty(0, np.bool_))
    found: dict[str, Any] = field(default_factory=dict, repr=False)

    def __post_init__(self) -> None:
        """Freeze the arrays and refuse what is no set."""
        count, n = len(self.names), len(self.corners)
        put = object.__setattr__
        put(self, "wild", frozen(self.wild, np.bool_))
        put(self, "corners", frozen(self.corners))
        put(self, "part", frozen(self.part, np.int64))
        put(self, "flags", frozen(self.flags, np.int64))
        state = self.state if len(self.state) else _solid(self.names, self.wild)
        put(self, "state", frozen(state, np.int64))
        hollow = self.hollow if len(self.hollow) else np.zeros(count, np.bool_)
        put(self, "hollow", frozen(hollow, np.bool_))
        if not len(self.wild) == len(self.state) == len(self.hollow) == count:
            message = f"set: {count} parts need as many wild flags"
            raise SolverError(message)
        if (
            self.corners.shape != (n, 3, 3)
            or not len(self.part) == len(self.flags) == n
        ):
            message = f"set: {n} triangles need as many parts and flags"
            raise SolverError(message)
        if n and not (self.part.min() >= 0 and self.part.max() < count):
            message = f"set: triangles must belong to one of its {count} parts"
            raise SolverError(message)

    @property
    def tree(self) -> TriangleTree:
        """The tree over the triangles, built when something first asks for it."""
        if "tree" not in self.found:
            self.found["tree"] = tree_of(self.corners, self.part, self.flags)
        tree: TriangleTree = self.found["tree"]
        return tree

    @property
    def bounds(self) -> FloatArray:
        """Low and high corner of all triangles, (2, 3) [m]."""
        points = self.corners.reshape(-1, 3)
        return np.array([points.min(axis=0), points.max(axis=0)])

    def without(self, *parts: int) -> "SetMesh":
        """Return the set with parts taken out; the triangles are shared."""
        state = self.state.copy()
        state[list(parts)] = OUT
        return self._with("state", state)

    def in_state(self, state: IntArray) -> "SetMesh":
        """Return the set with another state of each part, (k,)."""
        return self._with("state", state)

    @property
    def edges(self) -> Edges:
        """Edges that a drawing may show, found when something first asks for them."""
        if "edges" not in self.found:
            self.found["edges"] = edges_of(self.corners, self.part)
        edges: Edges = self.found["edges"]
        return edges

    def hollowed(self, places: FloatArray) -> "SetMesh":
        """Return the set with the parts that hold people taken as rooms.

        Args:
            places: of somebody, (n, 3) [m].
        """
        if not len(places):
            return self
        counts, inside = np.zeros(len(self.names), np.int64), np.zeros(len(self.names))
        for place in np.array(places, dtype=np.float64):
            inside_of(self.tree, self.state, place, counts)
            inside += counts > 0
        hollow = self.hollow | (inside >= HOLLOW_SHARE * len(places))
        return self if (hollow == self.hollow).all() else self._with("hollow", hollow)

    def met(self, starts: FloatArray, ends: FloatArray) -> IntArray:
        """Return the part nearest on each segment, (n,); `CLEAR` where none is.

        Wild parts do not count: they can be taken out.

        Args:
            starts: (n, 3) [m].
            ends: (n, 3) [m].
        """
        return self._met(starts, ends, any_will_do=False)[0]

    def clear(self, starts: FloatArray, ends: FloatArray) -> FloatArray:
        """Return the share of each segment before the set is met, (n,); 1 where not.

        Args:
            starts: (n, 3) [m].
            ends: (n, 3) [m].
        """
        return self._met(starts, ends, any_will_do=False)[1]

    def stops(self, starts: FloatArray, ends: FloatArray) -> BoolArray:
        """Return which segments meet the set, (n,); sooner known than what they meet.

        Args:
            starts: (n, 3) [m].
            ends: (n, 3) [m].
        """
        stopped: BoolArray = self._met(starts, ends, any_will_do=True)[0] >= 0
        return stopped

    def _met(
        self, starts: FloatArray, ends: FloatArray, *, any_will_do: bool
    ) -> tuple[IntArray, FloatArray]:
        part, share = np.empty(len(starts), dtype=np.int64), np.empty(len(starts))
        met_by_lines(
            self.tree,
            self.state.copy(),
            np.array(starts, dtype=np.float64, order="C"),
            np.array(ends, dtype=np.float64, order="C"),
            any_will_do,
            part,
            share,
        )
        return part, share

    def _with(self, name: str, values: IntArray | BoolArray) -> "SetMesh":
        # A copy: what was checked of the triangles need not be checked again.
        other = copy(self)
        object.__setattr__(other, name, frozen(values, getattr(self, name).dtype))
        return other
