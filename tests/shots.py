"""Named shots for tests of the crew: paths of subjects, framings, whole shots.

A path maps seconds since the first sample, (n,), to floor points, (n, 3) [m]. Shots
are built as the solver sees them; nothing here passes through a job file.
"""

from collections.abc import Callable, Sequence
from fractions import Fraction
from typing import Any

import numpy as np
from numpy.typing import NDArray

from carrellata.solver.action.body import (
    EYES,
    aim_fraction,
    aim_height_in_frame,
    framing_distance_m,
    span_of,
)
from carrellata.solver.action.framing import Framing
from carrellata.solver.action.subject import Subject
from carrellata.solver.optics.camera import used_gate
from carrellata.solver.optics.lens import Lens
from carrellata.solver.presets import PRESETS, Crew
from carrellata.solver.rigs.arc import arc as make_arc
from carrellata.solver.rigs.shape import Rig
from carrellata.solver.rigs.sticks import sticks as make_sticks
from carrellata.solver.rigs.track import track as make_track
from carrellata.solver.shake import LEVELS
from carrellata.solver.shot import HOLDS, Shot

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
Path = Callable[[FloatArray], FloatArray]

GATE = used_gate(24.89, 18.66, aspect=2.39)
HEIGHT_M = 1.75
LENS_HEIGHT_M = 1.5
HEADROOM = 0.08
RATE = Fraction(24)
NTSC = Fraction(24000, 1001)


def walk(speed: float = 1.4, *, start: Sequence[float] = (-4.0, 0.0, 0.0)) -> Path:
    """Return a straight walk along +X."""
    return lambda t: np.array(start) + np.outer(t, [speed, 0.0, 0.0])


def sprint(*, rest_s: float = 1.0, top: float = 7.0, tau: float = 0.9) -> Path:
    """Return a sprint along +X from rest, v = top (1 - exp(-t / tau)).

    Source of the form: Furusawa, Hill & Parkinson 1927 (from memory).
    """

    def path(t: FloatArray) -> FloatArray:
        s = np.maximum(t - rest_s, 0.0)
        x = top * (s + tau * np.exp(-s / tau) - tau)
        return np.column_stack([x - 6.0, 0 * t, 0 * t])

    return path


def circle(*, radius: float = 3.0, speed: float = 3.0) -> Path:
    """Return a run round the origin, counter-clockwise seen from above."""

    def path(t: FloatArray) -> FloatArray:
        angle = speed * t / radius
        return np.column_stack([radius * np.cos(angle), 0 * t, -radius * np.sin(angle)])

    return path


def shuttle(*, reach: float = 4.0, period_s: float = 3.0) -> Path:
    """Return runs to and fro along X, triangular: the turns are instantaneous."""

    def path(t: FloatArray) -> FloatArray:
        phase = np.abs((t / period_s + 0.25) % 1.0 * 2.0 - 1.0) * 2.0 - 1.0
        return np.column_stack([reach * phase, 0 * t, 0 * t])

    return path


def zigzag(*, speed: float = 4.0, width: float = 3.0, period_s: float = 1.6) -> Path:
    """Return a run along X that cuts to and fro in Z."""

    def path(t: FloatArray) -> FloatArray:
        phase = np.abs((t / period_s) % 1.0 * 2.0 - 1.0) * 2.0 - 1.0
        return np.column_stack([speed * t - 8.0, 0 * t, width / 2 * phase])

    return path


def bouncing(path: Path, *, hz: float = 2.0, to_hz: float | None = None) -> Path:
    """Return a path whose whole body bounces by 4 cm peak, `hz` swept to `to_hz`."""
    end = hz if to_hz is None else to_hz

    def bounced(t: FloatArray) -> FloatArray:
        span = max(float(np.ptp(t)), 1e-9)
        turns = hz * t + (end - hz) * t**2 / (2 * span)
        rise = 0.04 * np.sin(2 * np.pi * turns)
        return path(t) + rise[:, None] * [0.0, 1.0, 0.0]

    return bounced


def subject(
    points: FloatArray, rate: Fraction, first: int = 1001, **rest: Any
) -> Subject:
    """Return a standing figure on floor `points`, a sample a frame from `first`."""
    n = len(points)
    height = rest.pop("height_m", HEIGHT_M)
    fields: dict[str, Any] = {
        "name": "a",
        "times_s": np.arange(first, first + n) * rate.denominator / rate.numerator,
        "floor": points,
        "eyes": points + np.array([0.0, height * EYES, 0.0]),
        "facing_rad": np.full(n, np.nan),
        "fresh": np.ones(n, dtype=np.bool_),
        "visible": np.ones(n, dtype=np.bool_),
        "height_m": height,
    }
    return Subject(**(fields | rest))


def framing(
    size: str = "full",
    *,
    focal_mm: float = 50.0,
    height_m: float = HEIGHT_M,
    **rest: Any,
) -> Framing:
    """Return what a named size asks of the frame, with the fields in `rest` set."""
    _, ty = GATE.half_tangents(focal_mm)
    span = span_of(size)
    fields: dict[str, Any] = {
        "start_s": -np.inf,
        "top": span.top,
        "bottom": span.bottom,
        "aim": aim_fraction(size) / EYES,
        "u": 0.0,
        "v": aim_height_in_frame(size, HEADROOM),
        "lead_room": 0.0,
        "look_room": 0.0,
        "distance_m": framing_distance_m(size, height_m, HEADROOM, ty),
        "weights": (1.0,),
        "crown_v": 1.0 - 2.0 * HEADROOM if span.top == 1.0 else np.nan,
    }
    return Framing(**(fields | rest))


def shot(
    subjects: Subject | Sequence[Subject],
    rig: Rig,
    *,
    size: str = "full",
    focal_mm: float = 50.0,
    rate: Fraction = RATE,
    preset: str = "brisk",
    **rest: Any,
) -> Shot:
    """Return a shot over all samples of its first subject; `rest` sets Shot fields."""
    group = (subjects,) if isinstance(subjects, Subject) else tuple(subjects)
    frames = np.rint(group[0].times_s * float(rate)).astype(int)
    fields: dict[str, Any] = {
        "name": "test",
        "rate": rate,
        "first": int(frames[0]),
        "last": int(frames[-1]),
        "gate": GATE,
        "lens": Lens(focal_mm),
        "rig": rig,
        "crew": PRESETS[preset],
        "subjects": group,
        "framings": (
            framing(
                size, focal_mm=focal_mm, weights=(1.0,) + (0.0,) * (len(group) - 1)
            ),
        ),
    }
    return Shot(**(fields | rest))


def acted(
    path: Path, seconds: float, rate: Fraction = RATE, first: int = 1001, **rest: Any
) -> Subject:
    """Return a subject that runs a path for `seconds`, a sample a frame."""
    count = round(seconds * float(rate)) + 1
    return subject(path(np.arange(count) / float(rate)), rate, first, **rest)


def sticks(distance_m: float = 12.0, x: float = 0.0) -> Rig:
    """Return sticks that look along -Z at the origin from `distance_m`."""
    return make_sticks([x, LENS_HEIGHT_M, distance_m])


def side_track(start: float = -8.0, end: float = 20.0, distance_m: float = 10.0) -> Rig:
    """Return a track along X, `distance_m` on the +Z side."""
    return make_track(
        [start, LENS_HEIGHT_M, distance_m], [end, LENS_HEIGHT_M, distance_m]
    )


def head_on_track(start: float = 4.0, end: float = 30.0) -> Rig:
    """Return a track along Z, from near the origin outwards."""
    return make_track([0.0, LENS_HEIGHT_M, start], [0.0, LENS_HEIGHT_M, end])


def round_arc(radius: float = 12.0, start: float = 1.0, sweep: float = 4.0) -> Rig:
    """Return an arc about the origin."""
    return make_arc([0.0, LENS_HEIGHT_M, 0.0], radius=radius, start=start, sweep=sweep)


def sprint_on_sticks(preset: str = "brisk", rate: Fraction = RATE) -> Shot:
    """A second of rest, then a sprint past a panning camera."""
    return shot(acted(sprint(), 5.0, rate), sticks(), preset=preset, rate=rate)


def runner_on_track(preset: str = "brisk") -> Shot:
    """A sprint from rest beside a dolly."""
    return shot(acted(sprint(), 5.0), side_track(), preset=preset)


def circle_on_arc(preset: str = "brisk") -> Shot:
    """A run in a circle, the dolly abreast on a concentric arc."""
    return shot(acted(circle(), 6.0), round_arc(start=-4.0, sweep=8.0), preset=preset)


def hand_over(*, whip: bool = True, preset: str = "brisk") -> Shot:
    """Two standing people 34 degrees apart; the frame passes to the second at 2 s."""
    two = [
        acted(walk(0.0, start=(x, 0.0, 0.0)), 5.0, name=name)
        for name, x in (("a", -3.5), ("b", 3.5))
    ]
    cue = two[0].times_s[48]
    framings = (
        framing(weights=(1.0, 0.0)),
        framing(weights=(0.0, 1.0), start_s=float(cue), whip=whip),
    )
    return shot(two, sticks(), framings=framings, preset=preset)


def lead_room_walk() -> Shot:
    """A walk across, with a third of the half frame left ahead of it."""
    return shot(acted(walk(), 6.0), sticks(10.0), framings=(framing(lead_room=0.33),))


def look_room_turn() -> Shot:
    """A standing person who looks right, then left, with look room."""
    n = 24 * 5 + 1
    facing = np.where(np.arange(n) < 60, -np.pi / 2, np.pi / 2)
    person = acted(walk(0.0, start=(0.0, 0.0, 0.0)), 5.0, facing_rad=facing)
    return shot(
        person, sticks(3.0), size="chest", framings=(framing("chest", look_room=0.3),)
    )


def walk_behind_wall(preset: str = "brisk") -> Shot:
    """A walk across that is hidden from 2 to 3 s."""
    n = 24 * 6 + 1
    shown = (np.arange(n) < 48) | (np.arange(n) > 72)
    walker = acted(walk(), 6.0, fresh=shown, visible=shown)
    return shot(walker, sticks(10.0), preset=preset)


def walk_on_twos() -> Shot:
    """A walk across posed on every other frame."""
    n = 24 * 6 + 1
    held = walk()(np.arange(n) // 2 * 2 / 24.0)
    return shot(subject(held, RATE, fresh=np.arange(n) % 2 == 0), sticks(10.0))


def walk_toward() -> Shot:
    """A walk at the camera, the dolly backing off to keep the size."""
    path = lambda t: np.column_stack([0 * t, 0 * t, 1.2 * t])  # noqa: E731
    return shot(acted(path, 8.0), head_on_track(), hold="size")


def view_from_front() -> Shot:
    """A run in a circle, seen from the front left by a dolly on an arc."""
    return shot(acted(circle(speed=2.0), 6.0), round_arc(), hold="view", view_rad=0.8)


SHOTS: dict[str, Callable[[], Shot]] = {
    one.__name__: one
    for one in (
        sprint_on_sticks,
        runner_on_track,
        circle_on_arc,
        hand_over,
        lead_room_walk,
        look_room_turn,
        walk_behind_wall,
        walk_on_twos,
        walk_toward,
        view_from_front,
    )
}


def random_shot(rng: np.random.Generator, number: int) -> Shot:
    """Return a shot with everything that the crew can be asked for, at random.

    `number` walks through all rigs and holds; the rest is drawn from `rng`.
    """
    rate = (RATE, Fraction(25), Fraction(30), Fraction(48), NTSC)[number % 5]
    n = int(2.5 * float(rate))
    first = int(rng.integers(0, 2000))
    people = [
        _random_person(rng, n, rate, first, f"p{k}") for k in range(1 + number % 3)
    ]
    rig = (
        make_sticks([rng.uniform(-3, 3), 1.4, rng.uniform(6, 12)]),
        make_track([-8.0, 1.5, rng.uniform(6, 9)], [9.0, rng.uniform(0.5, 2.5), 9.0]),
        make_arc(
            [0.0, 1.5, 0.0], radius=9.0, start=2.0, sweep=float(rng.choice([2.5, -2.5]))
        ),
    )[number // 3 % 3]
    size = str(rng.choice(["full", "cowboy", "medium", "chest"]))
    cut = people[0].times_s
    framings = []
    for k, start in enumerate([-np.inf, cut[n // 3], cut[n // 2] + 0.3 / float(rate)]):
        weights = rng.uniform(0.2, 1.0, len(people)) * (rng.random(len(people)) < 0.6)
        weights[rng.integers(len(people))] = 1.0
        asked = framing(
            size,
            start_s=float(start),
            u=float(rng.uniform(-0.3, 0.3)),
            lead_room=float(rng.choice([0.0, 0.3])),
            look_room=float(rng.choice([0.0, 0.3])),
            weights=tuple(map(float, weights)),
            whip=bool(k and rng.random() < 0.5),
        )
        framings.append(asked)
    lead_in = int(rng.integers(0, 8))
    return Shot(
        name="random",
        rate=rate,
        first=first + lead_in,
        last=first + n - 1,
        handles=(int(rng.integers(0, 12)), int(rng.integers(0, 5))),
        samples_per_frame=int(rng.choice([1, 1, 2, 4])),
        gate=GATE,
        lens=Lens(float(rng.choice([25.0, 50.0, 85.0]))),
        roll_rad=float(rng.choice([0.0, 0.1])),
        rig=rig,
        hold=HOLDS[number // 9 % 3],
        view_rad=float(rng.uniform(-np.pi, np.pi)),
        side_offset=(0.0, 0.0, float(rng.uniform(0, 6))),
        crew=_random_crew(rng),
        subjects=tuple(people),
        framings=tuple(framings[: 1 + number // 2 % 3]),
        shake=LEVELS["settled"] if rng.random() < 0.2 else LEVELS["locked"],
        seed=number,
    )


def _random_crew(rng: np.random.Generator) -> Crew:
    crew = PRESETS[str(rng.choice(sorted(PRESETS)))]
    method = "eye" if rng.random() < 0.5 else "marks"
    return Crew(
        operator=crew.operator, grip=crew.grip, puller=crew.puller, focus_method=method
    )


def _random_person(
    rng: np.random.Generator, n: int, rate: Fraction, first: int, name: str
) -> Subject:
    """A wandering runner who bounces, turns the head, hides, and may be on twos."""
    push = rng.normal(0, 8, (n, 3)) * [1.0, 0.0, 1.0]
    speed = rng.normal(0, 2, 3) * [1.0, 0.0, 1.0] + np.cumsum(push, axis=0) / float(
        rate
    )
    points = rng.uniform(-3, 3, 3) * [1.0, 0.0, 1.0] + np.cumsum(speed, 0) / float(rate)
    points[:, 1] += 0.05 * np.sin(np.arange(n) / float(rate) * 12.0)
    facing = rng.uniform(-3, 3) + np.cumsum(rng.normal(0, 0.2, n))
    visible = np.ones(n, dtype=np.bool_)
    if rng.random() < 0.5:
        start = int(rng.integers(0, n - 10))
        visible[start : start + int(rng.integers(3, n // 3))] = False
    fresh = visible & ((np.arange(n) % 2 == 0) | (rng.random() < 0.7))
    fresh[:2] |= rng.random() < 0.8
    if not fresh.any():
        fresh[-1] = True
    return subject(
        points,
        rate,
        first,
        name=name,
        facing_rad=facing,
        fresh=fresh,
        visible=visible | fresh,
        must_hold=bool(rng.random() < 0.5),
    )
