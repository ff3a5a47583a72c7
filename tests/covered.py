"""A two-person action and cameras on it, for tests of coverage."""

from fractions import Fraction

import numpy as np
from shots import framing, shot, subject

from carrellata.solver.action.subject import Subject
from carrellata.solver.rigs.sticks import sticks
from carrellata.solver.shot import Shot
from carrellata.solver.take import Take, operate

RATE = 24


def pair(seconds: float = 20.0, *, first: int = 1001) -> tuple[Subject, Subject]:
    """Return two who stand 2 m apart and face each other; one walks off and back."""
    n = round(seconds * RATE)
    t = np.arange(n) / RATE
    away = 1.5 * np.clip(t - 0.4 * seconds, 0, 0.15 * seconds)
    away -= 1.5 * np.clip(t - 0.7 * seconds, 0, 0.15 * seconds)
    one = np.column_stack([-1.0 - away, 0 * t, 0 * t])
    two = np.column_stack([1.0 + 0 * t, 0 * t, 0.3 * np.sin(0.7 * t)])
    faces = np.full(n, -np.pi / 2), np.full(n, np.pi / 2)
    rate = Fraction(RATE)
    return (
        subject(one, rate, first, name="ann", facing_rad=faces[0]),
        subject(two, rate, first, name="ben", facing_rad=faces[1], height_m=1.85),
    )


def camera(
    people: tuple[Subject, Subject],
    place: tuple[float, float, float],
    *,
    on: tuple[float, float] = (1.0, 0.0),
    size: str = "chest",
    focal_mm: float = 50.0,
) -> Shot:
    """Return a shot of both from a place on sticks, with weights in the framing."""
    asked = framing(size, focal_mm=focal_mm, weights=on)
    return shot(people, sticks(list(place)), focal_mm=focal_mm, framings=(asked,))


def five_cameras(seconds: float = 20.0) -> dict[str, Take]:
    """Return the takes of a master, two singles and two overs, on one side."""
    people = pair(seconds)
    shots = {
        "master": camera(people, (-1, 1.6, 8), on=(1.0, 0.9), size="full", focal_mm=35),
        "single_a": camera(people, (1.2, 1.6, 3.5)),
        "single_b": camera(people, (-1.2, 1.6, 3.5), on=(0.0, 1.0)),
        "over_a": camera(people, (2.6, 1.7, 1.2), size="medium", focal_mm=35),
        "over_b": camera(
            people, (-4, 1.7, 1.4), on=(0.0, 1.0), size="medium", focal_mm=35
        ),
    }
    return {name: operate(one) for name, one in shots.items()}
