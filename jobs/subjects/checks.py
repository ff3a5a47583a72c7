"""What must hold of the samples of a subject, and the words when it does not."""

from collections.abc import Callable, Iterator
from fractions import Fraction

import numpy as np

from ...solver.arrays import BoolArray, FloatArray
from ..errors import Fault
from .holds import left_s
from .request import SubjectRequest
from .samples import SubjectSamples
from .source import Source

EDGE_S = 0.001  # seconds are often written to the millisecond
MAX_COORDINATE_M = 1e7
MAX_NAMED = 5


def check_order(samples: SubjectSamples, source: Source) -> Iterator[Fault]:
    """Yield a fault for the first samples out of order and the first twice there."""
    frames = samples.frames
    steps = np.diff(frames)
    for bad, words in ((steps < 0, "comes after"), (steps == 0, "is there twice")):
        if not bad.any():
            continue
        k = int(np.argmax(bad))
        name = _name(samples, k + 1)
        rule = f"{words} {frames[k]:.10g}" if words == "comes after" else words
        yield _fault(source, f"{name} {rule}{_and_more(bad)}")


def check_cover(
    samples: SubjectSamples, request: SubjectRequest, source: Source
) -> Iterator[Fault]:
    """Yield a fault if no sample lies in the frames that the shot asks for.

    Frames before the first sample and after the last are frames in which nobody sees
    the subject; see `gaps.cover`.
    """
    has_first, has_last = float(samples.frames[0]), float(samples.frames[-1])
    edge = 0.0 if samples.locked else EDGE_S * float(request.rate)
    if request.first_frame > has_last + edge or request.last_frame < has_first - edge:
        yield Fault(
            path=request.frames_field,
            message=f"asks for {request.first_frame}-{request.last_frame}, "
            f"{source.label} has {_span(has_first, has_last)}; correct the shot's "
            "frames, or say first_sample_at where the table has times",
        )


def check_values(samples: SubjectSamples, source: Source) -> Iterator[Fault]:
    """Yield a fault for each kind of value that is not finite or far out of range."""
    groups = [("x, y, z", samples.points)]
    if samples.head is not None:
        groups.append(("head_x, head_y, head_z", samples.head))
    endless = np.isinf(samples.facing_rad)
    near = all(np.abs(points).max() <= MAX_COORDINATE_M for _, points in groups)
    if near and not endless.any():  # nor is any of them NaN
        return
    for name, points in groups:
        finite: BoolArray = np.all(np.isfinite(points), axis=1)
        hole = ~finite & samples.visible
        if not finite.any():
            hole[0] = True
        if hole.any():
            at = _name(samples, int(np.argmax(hole)))
            yield _fault(source, f"{name} is not a number at {at}{_and_more(hole)}")
        far = (np.abs(points) > MAX_COORDINATE_M).any(axis=1) & finite
        if far.any():
            k = int(np.argmax(far))
            rule = f"limit {MAX_COORDINATE_M / 1000.0:.0f} km"
            largest = np.abs(points[k]).max() / 1000.0
            at = _name(samples, k)
            yield _fault(source, f"{name} is {largest:.6g} km out at {at}, {rule}")
    if endless.any():
        at = _name(samples, int(np.argmax(endless)))
        yield _fault(source, f"facing_deg is not a number at {at}{_and_more(endless)}")


def check_speed(
    frames: FloatArray,
    points: FloatArray,
    new: BoolArray,
    visible: BoolArray,
    *,
    limit_m_s: float,
    rate: Fraction,
    source: Source,
    meant: Callable[[float], str] = lambda _speed: "",
) -> Iterator[Fault]:
    """Yield the steps that no subject makes: pops, jumps between wrong takes.

    `meant` says what would make sense of a speed; it is asked where most steps are
    faults, since a wrong unit makes all of them too long.

    A step goes from one new sample to the next, and takes the time for which a key was
    held, so that held keys do not double the speed. What happens while the subject is
    hidden is not judged.
    """
    rows = np.flatnonzero(new)
    times_s = frames / float(rate)
    keeps = np.array_equal(new, visible)  # every sample as it is, held or not
    left = times_s if keeps else left_s(times_s, points, visible)
    steps_s = times_s[rows[1:]] - left[rows[:-1]]
    ways_m = np.linalg.norm(np.diff(points[rows], axis=0), axis=1)
    speeds = ways_m / steps_s
    fast = speeds > limit_m_s
    if not fast.any():
        return
    typical = float(np.median(speeds[speeds > 0]))
    hint = meant(typical) if typical > limit_m_s else ""
    advice = (
        hint
        or "correct the data, or raise limit_m_s of the subject where the step is right"
    )
    hidden = np.cumsum(~visible)[rows]
    pops = np.flatnonzero(fast & (np.diff(hidden) == 0))
    for count, k in enumerate(pops[:MAX_NAMED], start=1):
        start, end = frames[rows[k]], frames[rows[k + 1]]
        more = len(pops) - count if count == MAX_NAMED else 0
        yield _fault(
            source,
            f"moves {speeds[k]:.3g} m/s between {start:.10g} and {end:.10g}, "
            f"limit {limit_m_s:g} m/s; {advice}"
            + (f" (and {more} more)" if more else ""),
        )


def _name(samples: SubjectSamples, row: int) -> str:
    return f"frame {samples.frames[row]:.10g}"


def _span(first: float, last: float) -> str:
    return f"{first:.10g}-{last:.10g}" if first != last else f"only {first:.10g}"


def _and_more(bad: BoolArray) -> str:
    more = int(np.count_nonzero(bad)) - 1
    return f" (and {more} more)" if more else ""


def _fault(source: Source, rule: str) -> Fault:
    return Fault(path=source.path, message=f"{source.label} {rule}")
