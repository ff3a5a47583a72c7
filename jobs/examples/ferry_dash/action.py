"""What happens in the terminal: one run of action a scene, on one ground plan.

Metres, Z up; X runs east along the hall, Y north to the stairs.

    hall          x -5..42, y -12..8, ground 0; a kiosk at (29, 0)
    stairs        x 31..35, y 8..14, rising 3.4 m to the landing; gate at y 17
    promenade     east of x 40, ground 3.4; the edge of the quay at y 23
    gangway       from (97, 24) north, rising to the deck

Each scene starts its own clock at the first cut frame of its first shot.
"""

from dataclasses import dataclass

from .motion import Glance, Pace, Person, Stroke

COURIER_M = 1.72
GUARD_M = 1.84
DECK_M = 3.4

WEST, NORTH, EAST = 90.0, 0.0, -90.0


@dataclass(frozen=True, kw_only=True, slots=True)
class Scene:
    """The first cut frame, and who is there."""

    first_frame: int
    people: dict[str, Person]


_HALL = Scene(
    first_frame=1001,
    people={
        "courier": Person(
            height_m=COURIER_M,
            strokes=(
                # In at a walk; stops, for she is called; away from a standing start;
                # round the kiosk; hard stop at the closed barrier.
                Stroke(
                    points=(
                        (-0.7, 0.0, 0.0),
                        (24.5, 0.0, 0.0),
                        (28.5, 1.4, 0.0),
                        (40.0, 1.4, 0.0),
                    ),
                    speed_m_s=1.4,
                    paces=(
                        Pace(start_s=-0.5, speed_m_s=1.4),
                        Pace(start_s=6.0, speed_m_s=0.0, tau_s=0.25),
                        Pace(start_s=8.5, speed_m_s=7.0, tau_s=0.9),
                        Pace(start_s=12.9, speed_m_s=0.0, brake_m_s2=7.0),
                    ),
                ),
                # Turns back, and breaks away to the stairs.
                Stroke(
                    points=((34.2, 2.4, 0.0), (33.0, 5.0, 0.0), (33.0, 14.0, 0.0)),
                    paces=(Pace(start_s=17.2, speed_m_s=4.0, tau_s=0.9),),
                ),
            ),
            glances=(
                Glance(start_s=6.2, end_s=8.6, facing_deg=WEST),
                Glance(start_s=14.6, end_s=17.7, facing_deg=WEST),
            ),
        ),
        "guard": Person(
            height_m=GUARD_M,
            strokes=(
                Stroke(
                    points=(
                        (-3.0, 1.5, 0.0),
                        (18.0, 1.0, 0.0),
                        (25.0, -1.6, 0.0),
                        (40.0, -1.0, 0.0),
                    ),
                    paces=(
                        Pace(start_s=-0.5, speed_m_s=0.0),
                        Pace(start_s=3.5, speed_m_s=1.5, tau_s=0.4),
                        Pace(start_s=9.2, speed_m_s=6.2, tau_s=1.0),
                        Pace(start_s=13.6, speed_m_s=0.0, brake_m_s2=5.0),
                    ),
                ),
            ),
        ),
    },
)

_STAIRS_GATE = Scene(
    first_frame=1457,
    people={
        "courier": Person(
            height_m=COURIER_M,
            strokes=(
                Stroke(
                    points=(
                        (33.0, 6.5, 0.0),
                        (33.0, 8.0, 0.0),
                        (33.0, 14.0, DECK_M),
                        (33.0, 22.0, DECK_M),
                    ),
                    speed_m_s=2.2,
                    paces=(
                        Pace(start_s=-0.5, speed_m_s=1.35, tau_s=0.7),
                        Pace(start_s=4.6, speed_m_s=1.8, tau_s=0.5),
                        Pace(start_s=5.6, speed_m_s=0.0, brake_m_s2=3.0),
                    ),
                ),
                # The gate gives; away along the bridge.
                Stroke(
                    points=(
                        (33.2, 18.5, DECK_M),
                        (36.0, 19.0, DECK_M),
                        (50.0, 19.0, DECK_M),
                    ),
                    paces=(Pace(start_s=11.2, speed_m_s=5.0, tau_s=0.9),),
                ),
            ),
            glances=(Glance(start_s=6.4, end_s=7.6, facing_deg=150.0),),
        ),
        "guard": Person(
            height_m=GUARD_M,
            strokes=(
                Stroke(
                    points=(
                        (32.4, 0.0, 0.0),
                        (32.4, 8.0, 0.0),
                        (32.4, 14.0, DECK_M),
                        (32.6, 22.0, DECK_M),
                    ),
                    speed_m_s=2.5,
                    paces=(
                        Pace(start_s=-0.5, speed_m_s=2.4),
                        Pace(start_s=2.2, speed_m_s=1.0, tau_s=0.6),
                        Pace(start_s=8.6, speed_m_s=0.0, brake_m_s2=2.0),
                    ),
                ),
            ),
        ),
    },
)

_QUAY = Scene(
    first_frame=1733,
    people={
        "courier": Person(
            height_m=COURIER_M,
            strokes=(
                Stroke(
                    points=(
                        (48.0, 19.0, DECK_M),
                        (88.0, 19.0, DECK_M),
                        (97.5, 21.8, DECK_M),
                        (103.0, 22.5, DECK_M),
                    ),
                    speed_m_s=4.5,
                    paces=(
                        Pace(start_s=-0.5, speed_m_s=7.0, tau_s=0.9),
                        Pace(start_s=4.2, speed_m_s=4.0, tau_s=0.6),
                        Pace(start_s=8.2, speed_m_s=0.0, brake_m_s2=4.0),
                    ),
                ),
                # The gangway lifts: last chance.
                Stroke(
                    points=(
                        (97.0, 24.0, DECK_M),
                        (97.0, 33.0, DECK_M + 2.2),
                    ),
                    paces=(Pace(start_s=13.2, speed_m_s=2.5, tau_s=0.6),),
                ),
            ),
            glances=(
                Glance(start_s=9.3, end_s=10.6, facing_deg=NORTH),
                Glance(start_s=10.2, end_s=13.7, facing_deg=WEST),
            ),
        ),
        "guard": Person(
            height_m=GUARD_M,
            strokes=(
                Stroke(
                    points=(
                        (38.0, 18.2, DECK_M),
                        (86.0, 18.6, DECK_M),
                        (94.0, 21.2, DECK_M),
                        (99.0, 22.0, DECK_M),
                    ),
                    speed_m_s=4.5,
                    paces=(
                        Pace(start_s=-0.5, speed_m_s=6.2, tau_s=1.0),
                        Pace(start_s=7.8, speed_m_s=0.0, brake_m_s2=3.0),
                    ),
                ),
            ),
        ),
    },
)

# The last scene again, as one action of a minute, to be covered by several cameras.
_FAREWELL = Scene(
    first_frame=1733,
    people={
        "courier": Person(
            height_m=COURIER_M,
            strokes=(
                # Walks up to the quay and waits; he has to say it.
                Stroke(
                    points=(
                        (88.0, 18.4, DECK_M),
                        (94.5, 20.6, DECK_M),
                        (98.0, 21.0, DECK_M),
                    ),
                    speed_m_s=1.4,
                    paces=(
                        Pace(start_s=-0.5, speed_m_s=1.4),
                        Pace(start_s=4.8, speed_m_s=0.0, brake_m_s2=1.5),
                    ),
                ),
                # Walks on along the quay, and stops when he follows.
                Stroke(
                    points=((101.0, 21.4, DECK_M), (110.0, 21.6, DECK_M)),
                    paces=(
                        Pace(start_s=33.0, speed_m_s=1.3, tau_s=0.5),
                        Pace(start_s=39.0, speed_m_s=0.0, brake_m_s2=1.5),
                    ),
                ),
                # The gangway: back past him, and up.
                Stroke(
                    points=(
                        (101.5, 23.2, DECK_M),
                        (97.0, 24.4, DECK_M),
                        (97.0, 33.0, DECK_M + 2.0),
                    ),
                    paces=(Pace(start_s=54.5, speed_m_s=1.6, tau_s=0.5),),
                ),
            ),
            glances=(
                Glance(start_s=6.0, end_s=32.6, facing_deg=WEST),
                Glance(start_s=39.6, end_s=54.2, facing_deg=WEST),
            ),
        ),
        "guard": Person(
            height_m=GUARD_M,
            strokes=(
                Stroke(
                    points=(
                        (80.0, 17.2, DECK_M),
                        (92.6, 20.4, DECK_M),
                        (95.0, 21.0, DECK_M),
                    ),
                    speed_m_s=1.5,
                    paces=(
                        Pace(start_s=-0.5, speed_m_s=1.5),
                        Pace(start_s=8.0, speed_m_s=0.0, brake_m_s2=1.5),
                    ),
                ),
                Stroke(
                    points=((97.0, 21.1, DECK_M), (108.0, 21.4, DECK_M)),
                    paces=(
                        Pace(start_s=35.0, speed_m_s=1.35, tau_s=0.5),
                        Pace(start_s=41.0, speed_m_s=0.0, brake_m_s2=1.5),
                    ),
                ),
            ),
            glances=(
                Glance(start_s=8.6, end_s=34.6, facing_deg=EAST),
                Glance(start_s=41.6, end_s=55.0, facing_deg=EAST),
                Glance(start_s=55.4, end_s=62.0, facing_deg=NORTH),
            ),
        ),
    },
)

SCENES: dict[str, Scene] = {
    "hall": _HALL,
    "stairs_gate": _STAIRS_GATE,
    "quay": _QUAY,
    "farewell": _FAREWELL,
}

ON_TWOS = frozenset({("060", "courier")})
"""Subjects of shots whose animation is still on twos: every key is held a frame."""

HIDDEN: dict[tuple[str, str], tuple[int, int]] = {("100", "courier"): (1860, 1870)}
"""Frames, both inside, in which a subject passes behind the luggage trolleys."""
