"""Shots with a few setups each, for tests of the choice across cuts."""

import numpy as np
from ends import an_end, around

from carrellata.solver.cuts.end import CutEnd
from carrellata.solver.cuts.open_shot import OpenShot, State

LENSES = (35.0, 50.0, 75.0)
DIRECTIONS_DEG = (0, 5, 25, 50, 100, 200, 260, 340)


def _random_end(rng: np.random.Generator, action: dict, **camera: object) -> CutEnd:
    return an_end(
        around(float(rng.choice(DIRECTIONS_DEG) + rng.uniform(0, 9))),
        u=float(rng.uniform(-1.3, 1.3)) if rng.random() < 0.9 else None,
        fill=float(rng.uniform(0.5, 1.0)),
        height_m=float(rng.choice([1.2, 1.6, 1.7])),
        **(action | camera),
    )


def _random_action(rng: np.random.Generator) -> dict:
    kind = rng.integers(4)
    subject = str(rng.choice(["a", "b", "c"]))
    if kind == 0:
        other = "b" if subject == "a" else "a"
        return {"subject": subject, "partner": (other, (2.0, 0.5))}
    if kind == 1:
        return {"subject": subject, "size": str(rng.choice(["full", "medium"]))}
    angle = rng.uniform(0, 2 * np.pi)
    walks = (1.5 * float(np.cos(angle)), 1.5 * float(np.sin(angle)))
    return {"subject": subject, "walks": walks}


def random_sequence(
    rng: np.random.Generator,
) -> tuple[list[OpenShot], dict[str, str]]:
    """Return a few shots with a few setups each, scenes, letters and gaps at random."""
    shots = []
    views = np.random.default_rng(rng.bit_generator.random_raw())
    n_shots = int(rng.integers(3, 6))
    fixed = int(rng.integers(n_shots)) if rng.random() < 1 / 3 else -1
    letters = {}
    lettered = rng.random() < 0.4
    for k in range(n_shots):
        action, later = _random_action(rng), _random_action(rng)
        one_action = rng.random() < 0.6
        shared = lettered and rng.random() < 0.6
        n_states = 1 if k == fixed and not shared else int(rng.integers(2, 6))
        states = []
        size_open = views.random() < 0.4
        for i in range(n_states):
            focal = float(rng.choice(LENSES))
            size = str(views.choice(["full", "medium", "chest"])) if size_open else ""
            seen = {"focal_mm": focal} | ({"size": size} if size else {})
            states.append(
                State(
                    score=float(np.round(rng.uniform(0, 4), int(rng.integers(0, 7)))),
                    first=_random_end(rng, action, **seen),
                    last=_random_end(rng, action if one_action else later, **seen),
                    order=int(rng.integers(9)),
                    setup="ABCDE"[i],
                    size=size,
                    view=str(views.choice(["", "front", "profile", "rear"])),
                )
            )
        name = f"{k:02d}0"
        if shared:
            letters[name] = str(rng.choice(["P", "Q"]))
        shots.append(
            OpenShot(
                name=name,
                scene=str(rng.choice(["hall", "hall", "hall", "street"])),
                elapsed=bool(rng.random() < 0.15),
                states=tuple(states),
                kept=int(rng.integers(n_states)) if rng.random() < 0.3 else None,
                unchanged=bool(rng.random() < 0.5),
            )
        )
    return shots, letters


def walker(angles: list[float], scores: list[float], **rest: object) -> OpenShot:
    """A shot of someone who walks right, from directions about them."""
    ends = [an_end(around(angle), walks=(1.4, 0.0)) for angle in angles]
    return OpenShot(
        scene="hall",
        states=tuple(
            State(score=score, first=end, last=end, order=i, setup=f"{i}")
            for i, (end, score) in enumerate(zip(ends, scores, strict=True))
        ),
        **rest,
    )


def long_sequence(
    rng: np.random.Generator, n_shots: int, n_states: int
) -> list[OpenShot]:
    shots = []
    for k in range(n_shots):
        angle = rng.uniform(0, 2 * np.pi)
        walks = (1.5 * float(np.cos(angle)), 1.5 * float(np.sin(angle)))
        subject = str(rng.choice(["a", "b"]))
        states = []
        for i in range(n_states):
            end = an_end(
                around(360.0 * i / n_states + float(rng.uniform(0, 9)), 5.0),
                subject=subject,
                walks=walks,
                u=float(rng.uniform(-0.5, 0.5)),
                focal_mm=float(rng.choice(LENSES)),
            )
            states.append(State(score=float(rng.uniform(0, 3)), first=end, last=end))
        shots.append(OpenShot(name=f"{k:04d}", scene="hall", states=tuple(states)))
    return shots
