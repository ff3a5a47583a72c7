"""One person as a member believes in them at a tick: plain numbers.

Passing the arrays of `Seen` to a kernel costs several times what reading them does, so
a loop over ticks reads them once and passes this. Where several people are framed, a
small table of scratch holds a row for each.
"""

from typing import NamedTuple

from ..compiled.kernel import kernel
from ..elementary.exponential import exp


class BelievedFigure(NamedTuple):
    """What is believed of a subject at a tick.

    Attributes:
        x, y, z: of the floor point [m].
        up_x, up_y, up_z: from the floor point to the eyes [m].
        vx, vy, vz: velocity of the floor point [m/s].
        turn_x, turn_y, turn_z: velocity of the eyes less that of the floor point [m/s].
        fade: how long the velocity lasts on the ground [s].
        climb_fade: how long that of heights lasts [s].
        crest: height of the bounce over the believed place [m].
    """

    x: float
    y: float
    z: float
    up_x: float
    up_y: float
    up_z: float
    vx: float
    vy: float
    vz: float
    turn_x: float
    turn_y: float
    turn_z: float
    fade: float
    climb_fade: float
    crest: float


N_FIGURE = len(BelievedFigure._fields)
NOBODY = BelievedFigure(*(0.0,) * N_FIGURE)


@kernel
def figure_of(seen, subject, tick):
    """Return the `BelievedFigure` of a subject at a tick."""
    place, velocity, fades = seen.place, seen.velocity, seen.fades
    x = place[subject, tick, 0, 0]
    y = place[subject, tick, 0, 1]
    z = place[subject, tick, 0, 2]
    vx = velocity[subject, tick, 0, 0]
    vy = velocity[subject, tick, 0, 1]
    vz = velocity[subject, tick, 0, 2]
    return BelievedFigure(
        x,
        y,
        z,
        place[subject, tick, 1, 0] - x,
        place[subject, tick, 1, 1] - y,
        place[subject, tick, 1, 2] - z,
        vx,
        vy,
        vz,
        velocity[subject, tick, 1, 0] - vx,
        velocity[subject, tick, 1, 1] - vy,
        velocity[subject, tick, 1, 2] - vz,
        fades[subject, 0, tick],
        fades[subject, 1, tick],
        seen.crest[subject, tick],
    )


@kernel
def note_figures(seen, tick, figures):
    """Fill `figures` (n_subjects, N_FIGURE) with everybody's figure at a tick."""
    for s in range(figures.shape[0]):
        one = figure_of(seen, s, tick)
        (
            figures[s, 0],
            figures[s, 1],
            figures[s, 2],
            figures[s, 3],
            figures[s, 4],
            figures[s, 5],
            figures[s, 6],
            figures[s, 7],
            figures[s, 8],
            figures[s, 9],
            figures[s, 10],
            figures[s, 11],
            figures[s, 12],
            figures[s, 13],
            figures[s, 14],
        ) = one


@kernel
def noted_figure(figures, s):
    """Return row s of what `note_figures` has filled."""
    return BelievedFigure(
        figures[s, 0],
        figures[s, 1],
        figures[s, 2],
        figures[s, 3],
        figures[s, 4],
        figures[s, 5],
        figures[s, 6],
        figures[s, 7],
        figures[s, 8],
        figures[s, 9],
        figures[s, 10],
        figures[s, 11],
        figures[s, 12],
        figures[s, 13],
        figures[s, 14],
    )


@kernel
def reached(fade, ahead):
    """Return for how long a velocity carries that fades, in a time ahead [s].

    Before now it has not faded.
    """
    return fade - fade * exp(-ahead / fade) if ahead > 0.0 else ahead


@kernel
def moved_figure(figure, ahead):
    """Return the figure as believed to be `ahead` seconds later."""
    reach = reached(figure.fade, ahead)
    climb = reached(figure.climb_fade, ahead)
    return BelievedFigure(
        figure.x + reach * figure.vx,
        figure.y + climb * figure.vy,
        figure.z + reach * figure.vz,
        figure.up_x + reach * figure.turn_x,
        figure.up_y + climb * figure.turn_y,
        figure.up_z + reach * figure.turn_z,
        figure.vx,
        figure.vy,
        figure.vz,
        figure.turn_x,
        figure.turn_y,
        figure.turn_z,
        figure.fade,
        figure.climb_fade,
        figure.crest,
    )


@kernel
def point_of(figure, share):
    """Return the point at a share of floor to eyes."""
    return (
        figure.x + share * figure.up_x,
        figure.y + share * figure.up_y,
        figure.z + share * figure.up_z,
    )
