"""Proposes setups: for each lens, view and side the simplest rigs that hold the ideal.

The ideal place of the lens is where it gives the asked size at the asked view, kept at
a fixed bearing in the world while the subject moves; a curve through these places is
what a grip would lay. How, each kind of rig says in its own file.
"""

from collections.abc import Callable, Sequence
from functools import lru_cache
from itertools import product
from typing import NamedTuple

import numpy as np

from ..action.rehearsed import Action
from ..elementary.trigonometry import sin
from ..laying.way import Way
from ..optics.camera import Gate
from ..optics.lens import Lens
from ..rigs.kind import RigKind
from ..rigs.kinds import KINDS
from ..rigs.layout import RigWish
from ..stage.stage import room_m
from .in_room import depth_m
from .proposal import Proposal, lens_height
from .setup import Ask, View

NATURAL_TX = 0.31  # half-frame tangent of a lens that draws attention to nothing
NODES = 48  # ideal places that a curve is fitted through
ON_LINE = 1e-6  # sine of a view from straight ahead or behind
LEAST_NODES = 3  # of a way that a rail is laid along
LOOSER = (1.1, 1.2, 1.35)
"""Times the asked distance: up to 1.25 the size is kept, up to 1.5 near enough."""


def way_of(action: Action) -> Way:
    """Return the way of an action's subjects, at up to NODES frames evenly spread."""
    n = min(NODES, action.n_frames)
    picks = np.unique(np.linspace(0, action.n_frames - 1, n).round().astype(int))
    return Way(
        times_s=action.times_s[picks],
        centre=np.ascontiguousarray(action.centre[picks][:, [0, 2]]),
        headings=action.heading[picks],
        ratio=action.ratio[picks],
        eyes_m=float(action.eyes[:, 1].mean()),
    )


class Known(NamedTuple):
    """What is known of a shot before anything is simulated.

    `looser` times the asked distance is where setups are proposed: a little more of the
    room round the subject, still within what may count as the asked size. `angle` is
    in place of the one that is asked for, where it is not None.
    """

    ask: Ask
    action: Action
    way: Way
    looser: float = 1.0
    angle: str | None = None


def propose_standing(known: Known) -> list[Proposal]:
    """Return rigs without a rail worth trying, for every suitable lens and view."""
    ask = known.ask
    return [
        each
        for kind in _asked(ask, on_rail=False)
        for lens, view in product(suitable(ask, known.action), _views(known))
        for each in _proposed(known, kind, lens, view)
    ]


def propose_rails(
    known: Known,
    lenses: Sequence[Lens],
    may_pay: Callable[[str, Lens, View], bool] = lambda kind, lens, view: True,
) -> list[Proposal]:
    """Return rails worth trying: the first kind for all lenses, others for the first.

    Args:
        known: what is known of the shot before anything is simulated.
        lenses: for which rails are laid, the first one first.
        may_pay: whether a kind of rig may be worth its price with a lens on a view.
    """
    if len(known.way.times_s) < LEAST_NODES:
        return []
    found: list[Proposal] = []
    for k, kind in enumerate(_asked(known.ask, on_rail=True)):
        for lens, view in product(lenses[:1] if k else lenses, _views(known)):
            if may_pay(kind.name, lens, view):
                found.extend(_proposed(known, kind, lens, view))
    return found


def _asked(ask: Ask, *, on_rail: bool) -> list[RigKind]:
    """Return the kinds of rig that may be laid, with a rail or without."""
    return [
        kind
        for kind in KINDS.values()
        if kind.name in ask.kinds and kind.on_rail == on_rail
    ]


def _proposed(known: Known, kind: RigKind, lens: Lens, view: View) -> list[Proposal]:
    ask, action = known.ask, known.action
    distance = distance_of(ask, lens) * known.looser
    wanted = RigWish(
        distance_m=distance,
        height_m=lens_height(ask, distance, known.way.eyes_m, known.angle),
        bearing_rad=action.main + view.bearing_rad,
        view_rad=view.bearing_rad,
        view_open=len(ask.views) > 2,
        hand=_hand(view, known.way),
        hold=ask.hold or ("size" if action.resizes else "abreast"),
        dolly_speed=ask.shot.crew.grip.max_speed,
        stage=ask.stage,
    )
    laid = kind.propose(wanted, known.way)
    return [Proposal(lens=lens, view=view, layout=layout) for layout in laid]


def _views(known: Known) -> list[View]:
    """Return the views in their order, of two sides first that to which the way bends.

    Of two that are worth the same the first is taken: the other in a mirrored scene.
    """
    views = known.ask.views
    names = list(dict.fromkeys(view.name for view in views))
    first = "left" if known.way.bend > 0 else "right"
    return sorted(views, key=lambda v: (names.index(v.name), v.side != first))


def _hand(view: View, way: Way) -> float:
    """Return +1 or -1, the other one where the scene is mirrored."""
    if abs(sin(view.angle_rad)) < ON_LINE:
        return way.bend
    return 1.0 if view.side == "left" else -1.0


def suitable(ask: Ask, action: Action) -> tuple[Lens, ...]:
    """Return the lenses whose distance for the size the stage has room for."""
    room = min(room_m(ask.stage, action.centre), depth_m(ask.stage, action))
    near = ask.stage.min_distance_m
    fits = tuple(
        lens
        for lens in ask.lenses
        if max(near, lens.close_focus_m) <= distance_of(ask, lens) <= room
    )
    return fits or ask.lenses


def distance_of(ask: Ask, lens: Lens) -> float:
    """Return the distance at which a lens gives the shot's first size [m]."""
    shot = ask.shot
    return shot.framings[0].distance_m * lens.focal_mm / shot.lens.focal_mm


def unnatural(ask: Ask, lens: Lens) -> float:
    """Return how far a lens is from one that draws no attention, in octaves."""
    return _unnatural(ask.shot.gate, lens.focal_mm)


@lru_cache(maxsize=256)
def _unnatural(gate: Gate, focal_mm: float) -> float:
    tx, _ = gate.half_tangents(focal_mm)
    return abs(float(np.log2(tx / NATURAL_TX)))
