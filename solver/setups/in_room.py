"""What a set leaves free round an action, before anything is simulated."""

from collections.abc import Sequence
from math import degrees, radians
from typing import NamedTuple

import numpy as np

from ..action.rehearsed import Action
from ..arrays import FloatArray
from ..rigs.clearance import rail_places
from ..rigs.shape import Rig
from ..sight.footprint import ALMOST_M, footprint_of
from ..sight.tree import WILD
from ..stage.stage import Stage
from .setup import SIDES, Ask, View

FAR_M = 60.0  # no lens is further off in a set
BEARINGS = 24
LOOKED_AT = 8  # moments of the action
HOPELESS = 0.5  # of the lines from a rig to the eyes are stopped
CLEAR_ENOUGH = 0.9
MOST_VIEWS = 3


class RigInSet(NamedTuple):
    """How a rig stands in a set: share of its lines stopped, and whether in a part.

    What sees next to nothing is not looked at further: it counts as in no part.
    """

    blocked: float
    stands_in: bool

    @property
    def is_hopeless(self) -> bool:
        """Whether moving the rig a little could not help."""
        return self.stands_in or self.blocked >= HOPELESS


def standing_of(stage: Stage, action: Action, rig: Rig) -> RigInSet:
    """Return how a rig stands in the set of a stage, which has one."""
    mesh = stage.set
    assert mesh is not None
    eyes = action.eyes[_moments(action)]
    places = rail_places(rig)
    near = np.linalg.norm(places[:, None] - eyes, axis=2).argmin(axis=0)
    stopped = mesh.stops(places[near], _short(places[near], eyes))
    blocked = float(stopped.mean())
    if blocked >= HOPELESS:
        return RigInSet(blocked, stands_in=False)
    depth = footprint_of(mesh, places, stage.ground_m).depth
    solid = (depth > ALMOST_M) & (mesh.state != WILD)
    return RigInSet(blocked, stands_in=bool(solid.any()))


def depth_m(stage: Stage, action: Action) -> float:
    """Return how far off the set lets a lens see the action [m]; infinite without."""
    if stage.set is None:
        return float("inf")
    clear = _clear_m(
        stage, action, np.arange(BEARINGS, dtype=np.float64) * (2 * np.pi / BEARINGS)
    )
    return float(clear.max())


def free_views(ask: Ask, action: Action, distance_m: float) -> tuple[View, ...]:
    """Return views, not asked for yet, from which a set leaves the action in sight.

    Args:
        ask: the shot; its views are open.
        action: of it.
        distance_m: of the lens from the subject.
    """
    angles = [15.0 * k for k in range(1, 12)]
    known = {round(degrees(view.angle_rad)) for view in ask.views}
    found: list[tuple[float, View]] = []
    for angle in angles:
        if round(angle) in known:
            continue
        for side in SIDES:
            view = View(name=f"{angle:g} deg", angle_rad=radians(angle), side=side)
            bearing = np.array([action.main + view.bearing_rad])
            clear = _clear_m(ask.stage, action, bearing)[:, 0]
            share = float((clear >= distance_m).mean())
            if share >= CLEAR_ENOUGH:
                found.append((-share, view))
    found.sort(key=lambda pair: pair[0])
    return tuple(view for _, view in found[:MOST_VIEWS])


def _clear_m(stage: Stage, action: Action, bearings: FloatArray) -> FloatArray:
    """Return how far the set is from the eyes along bearings, (moments, b) [m]."""
    mesh = stage.set
    assert mesh is not None
    eyes = action.eyes[_moments(action)]
    ways = np.stack(
        [-np.sin(bearings), np.zeros(len(bearings)), -np.cos(bearings)], axis=1
    )
    starts = np.repeat(eyes, len(bearings), axis=0)
    ends = starts + FAR_M * np.tile(ways, (len(eyes), 1))
    clear: FloatArray = FAR_M * mesh.clear(starts, ends).reshape(len(eyes), -1)
    return clear


def _moments(action: Action) -> Sequence[int]:
    count = min(LOOKED_AT, action.n_frames)
    picks = np.linspace(0, action.n_frames - 1, count).round().astype(int)
    moments: list[int] = np.unique(picks).tolist()
    return moments


def _short(starts: FloatArray, ends: FloatArray) -> FloatArray:
    """Return ends a hand nearer, where nothing hides the eyes."""
    along = ends - starts
    length = np.maximum(np.linalg.norm(along, axis=1), 1e-9)
    short: FloatArray = ends - along * np.minimum(0.15 / length, 1.0)[:, None]
    return short
