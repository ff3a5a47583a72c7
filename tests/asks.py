"""Asks for tests of the choice of a setup: shots whose setup is open or half open."""

from collections.abc import Sequence
from fractions import Fraction
from typing import Any

import numpy as np
from numpy.typing import NDArray
from shots import GATE, framing, subject

from carrellata.solver.action.subject import Subject
from carrellata.solver.optics.lens import Lens
from carrellata.solver.presets import PRESETS
from carrellata.solver.rigs.kinds import KINDS
from carrellata.solver.rigs.sticks import sticks
from carrellata.solver.setups.setup import SIDES, VIEWS_RAD, Ask, View
from carrellata.solver.shot import Shot
from carrellata.solver.stage.stage import Stage

FloatArray = NDArray[np.float64]

KIT_MM = (21, 27, 35, 50, 75, 100)
RATE = Fraction(24)
USUAL_STAGE = Stage(heights=(0.3, 2.6), min_distance_m=1.0)


def lenses(*focals_mm: float) -> tuple[Lens, ...]:
    """Return lenses that focus as close as 0.3 m."""
    return tuple(Lens(float(mm), 0.3, 1.4) for mm in focals_mm)


def views(*names: str) -> tuple[View, ...]:
    """Return named views from both sides, those on the line of travel from one."""
    return tuple(
        View(name=name, angle_rad=VIEWS_RAD[name], side=side)
        for name in names
        for side in (SIDES[:1] if name in ("front", "rear") else SIDES)
    )


OPEN_VIEWS = views("three_quarter", "profile", "front", "rear")


def person(
    floor: FloatArray, rate_hz: float = 24.0, *, name: str = "a", **rest: Any
) -> Subject:
    """Return somebody upright on floor points (n, 3), the first sample at frame 984."""
    rate = Fraction(rate_hz).limit_denominator(1001)
    times = {"times_s": 41.0 + np.arange(len(floor)) / rate_hz}
    return subject(floor, rate, **(times | {"name": name} | rest))


def open_ask(
    subjects: Subject | Sequence[Subject],
    size: str = "full",
    *,
    kit: Sequence[float] = KIT_MM,
    kinds: Sequence[str] = tuple(KINDS),
    seen_from: tuple[View, ...] = OPEN_VIEWS,
    stage: Stage = USUAL_STAGE,
    crew: str = "brisk",
    asked: dict[str, Any] | None = None,
    **rest: Any,
) -> Ask:
    """Return a shot over all its subject's samples with its setup open."""
    cast = (subjects,) if isinstance(subjects, Subject) else tuple(subjects)
    times = cast[0].times_s
    weights = tuple(subject.share for subject in cast)
    shot = Shot(
        name="asked",
        rate=RATE,
        first=round(times[0] * 24),
        last=int(times[-1] * 24 + 1e-6),
        gate=GATE,
        lens=lenses(50)[0],
        rig=sticks(np.array([0.0, 1.5, 0.0])),
        crew=PRESETS[crew],
        subjects=cast,
        framings=(framing(size, weights=weights, **(asked or {})),),
    )
    fields: dict[str, Any] = {
        "shot": shot,
        "lenses": lenses(*kit),
        "rig": None,
        "kinds": tuple(kinds),
        "views": seen_from,
        "height_m": None,
        "stage": stage,
    }
    return Ask(**(fields | rest))
