"""Mistakes that a subject's numbers suggest: its unit, its up axis, its rate.

None of them is certain, so each is a note that says what would make sense instead.
"""

from collections.abc import Iterator
from fractions import Fraction
from typing import NamedTuple

import numpy as np

from ...solver.arrays import BoolArray, FloatArray
from ..job.rate import nominal_rate, rate_text
from .reference import SubjectReference
from .request import SubjectRequest
from .samples import SubjectSamples
from .track import SubjectTrack

UNITS = {
    "centimetres": 0.01,
    "metres": 1.0,
    "millimetres": 0.001,
    "feet": 0.3048,
    "inches": 0.0254,
}
"""What scenes are built in, the commonest first: metres in a unit."""
PERSON_M_S = (0.3, 13.0)  # between a stroll and a sprint
CRAWL_M_S = 0.06  # who gets somewhere at less than this is rarely a person
LEAST_WAY = 0.7  # of the path: who gets somewhere, and does not sway on the spot
RISE_M, LEVEL_M = 1.5, 0.3
STEEP = 0.9  # of the way over ground: steeper than any stairs
RATES = (24, 25, 30, 48, 50, 60, 100, 120)
_NEAR = 0.005
_LEAST_FRAMES = 24


class Walked(NamedTuple):
    """How far somebody goes over ground [m], from where to where, and how fast."""

    path_m: float
    net_m: float
    top_m_s: float


def motion_of(points: FloatArray, times_s: FloatArray, new: BoolArray) -> Walked:
    """Return how somebody moves.

    Args:
        points: (n, 3) [m], Y up.
        times_s: (n,), rising.
        new: samples that count, (n,).
    """
    rows = np.flatnonzero(new)
    if len(rows) < 2:
        return Walked(0.0, 0.0, 0.0)
    steps = np.linalg.norm(np.diff(points[rows], axis=0), axis=1)
    speeds = steps / np.diff(times_s[rows])
    net = float(np.linalg.norm(points[rows[-1]] - points[rows[0]]))
    # One step in twenty may be a pop, which is a fault of its own.
    return Walked(float(steps.sum()), net, float(np.quantile(speeds, 0.95)))


def likely_unit(speed_m_s: float, metres_per_unit: float) -> tuple[str, float] | None:
    """Return the unit in which a speed would be a person's, and that speed [m/s].

    Args:
        speed_m_s: with the unit that the job has.
        metres_per_unit: of that unit.
    """
    for name, metres in UNITS.items():
        speed = speed_m_s * metres / metres_per_unit
        if metres != metres_per_unit and PERSON_M_S[0] <= speed <= PERSON_M_S[1]:
            return name, speed
    return None


def unit_words(speed_m_s: float, request: SubjectRequest, own_units: bool) -> str:
    """Return what would make sense of a speed, "" where no unit does.

    Args:
        speed_m_s: of most steps, with the unit that is in use.
        request: gives that unit, where the file has none of its own.
        own_units: whether the subject says the unit of its file.
    """
    found = likely_unit(speed_m_s, 1.0 if own_units else request.metres_per_unit)
    if own_units or found is None:
        return ""
    name, speed = found
    return f"as {name} (metres_per_unit = {UNITS[name]:g}) it is {speed:.2g} m/s"


def suspected_mistakes(
    reference: SubjectReference,
    request: SubjectRequest,
    track: SubjectTrack,
    samples: SubjectSamples | None,
) -> Iterator[str]:
    """Yield what seems to be wrong with a subject, a sentence each.

    Args:
        reference: its entry in the job.
        request: what was asked of its data.
        track: as it was read.
        samples: of its table, before the shot's frames were taken; None for others.
    """
    points, times = track.floor, track.times_s
    motion = motion_of(points, times, track.new)
    arrives = motion.path_m > 0 and motion.net_m >= LEAST_WAY * motion.path_m
    if arrives and motion.top_m_s < CRAWL_M_S and reference.units is None:
        words = unit_words(motion.top_m_s, request, own_units=False)
        if words:
            yield (
                f"{track.name} goes {motion.path_m:.2g} m at {motion.top_m_s:.2g} m/s; "
                f"{words}"
            )
    yield from _wrong_axis(track, request)
    if samples is not None:
        yield from _wrong_rate(reference, request, samples)


def _wrong_axis(track: SubjectTrack, request: SubjectRequest) -> Iterator[str]:
    low, high = track.floor.min(axis=0), track.floor.max(axis=0)
    across, rise, along = (high - low).tolist()
    ground = float(np.hypot(across, along))
    # Inside, the scene's other upright axis lies along the third one.
    if rise < RISE_M or rise < STEEP * ground or along > LEVEL_M:
        return
    other = "z" if request.up == "y" else "y"
    yield (
        f"{track.name} rises {rise:.2g} m and moves {ground:.2g} m over ground; "
        f'with world.up = "{other}" it rises {along:.2g} m'
    )


def _wrong_rate(
    reference: SubjectReference, request: SubjectRequest, samples: SubjectSamples
) -> Iterator[str]:
    job = nominal_rate(request.rate)
    if samples.locked:
        asked = request.last_frame - request.first_frame + 1
        first, last = float(samples.frames[0]), float(samples.frames[-1])
        there = last - first + 1
        if asked < _LEAST_FRAMES or abs(first - request.first_frame) > 1:
            return
        for rate in RATES:
            if rate != job and abs(there - asked * rate / job) <= 1:
                yield (
                    f"{reference.name} has {there:.0f} frames for the {asked} asked "
                    f"for, as {rate} is to {job}: were they numbered at {rate} frames "
                    "a second?"
                )
                return
        return
    if reference.rate is not None or len(samples.frames) < 2:
        return
    rate_of = float(request.rate) / float(np.median(np.diff(samples.frames)))
    for rate in RATES:
        even = rate % job == 0 or job % rate == 0
        if not even and abs(rate_of - rate) <= _NEAR * rate:
            yield (
                f"{reference.name} has {rate} samples a second, the job "
                f"{rate_text(Fraction(request.rate))} frames; give the subject "
                f'rate = "{rate}" if its samples are frames'
            )
            return
