"""Starts out of rest: the subject's, and how long after it the camera's."""

from dataclasses import dataclass

import numpy as np

from ..arrays import FloatArray
from .camera import smooth_rate

SEEN = 0.01  # half frames: motion that counts as begun
LEFT = 0.03  # half frames; a start that goes less far is a twitch
BRISK_S = 0.5  # from SEEN to LEFT, of a subject
REST_S = 0.5
REST_RATE = 0.03  # half frames/s below which something rests
BEFORE_S, AFTER_S = 2.0, 2.0  # of a subject's start, searched for the camera's


@dataclass(frozen=True, kw_only=True, slots=True)
class Onset:
    """A start out of rest: the subject's, and how long after it the camera's [s]."""

    subject_s: float
    late_s: float


def onsets_of(
    times: FloatArray,
    asked: FloatArray,
    moved: FloatArray,
    noise: float,
    step: float,
) -> tuple[list[Onset], str]:
    """Return the starts out of rest, or why none can be seen."""
    if noise > SEEN / 3:
        return [], (
            f"noise and shake of {noise:.4f} half frames hide a start of {SEEN:g}"
        )
    rests = round(REST_S / step)
    still = np.abs(smooth_rate(asked, step)) < REST_RATE
    found: list[Onset] = []
    k = rests
    while k < len(times):
        if still[k - rests : k].all() and not still[k]:
            rested = k - rests
            while rested > 0 and still[rested - 1]:
                rested -= 1
            low = max(rested, k - round((BEFORE_S + REST_S) / step))
            high = min(len(times), k + round(AFTER_S / step))
            part = slice(low, high)
            start = _starts(times[part], asked[part], rests)
            if start is not None:
                subject_s, sign = start
                answer = _starts(times[part], moved[part], rests, sign)
                if answer is not None:
                    late = answer[0] - subject_s
                    found.append(Onset(subject_s=subject_s, late_s=late))
        k += 1
    return found, "" if found else "the subject never starts out of rest"


def _passes(times: FloatArray, off: FloatArray) -> float | None:
    """Return when a distance first exceeds SEEN for three samples in a row [s]."""
    over = off > SEEN
    lasting = over[:-2] & over[1:-1] & over[2:]
    at = np.flatnonzero(lasting)
    if len(at) == 0:
        return None
    k = int(at[0])
    if k == 0:
        return float(times[0])
    share = (SEEN - off[k - 1]) / max(off[k] - off[k - 1], 1e-12)
    return float(times[k - 1] + share * (times[k] - times[k - 1]))


def _starts(
    times: FloatArray, values: FloatArray, rests: int, sign: float | None = None
) -> tuple[float, float] | None:
    """Return when values start out of a rest [s] and which way, 1 or -1.

    A start is counted from the last rest before they have gone by LEFT, and
    falls where they pass SEEN. Subject and camera are asked alike.

    Args:
        times: (n,) [s].
        values: (n,), half frames.
        rests: samples that make a rest.
        sign: only a start this way counts; None for any.
    """
    last: tuple[float, float] | None = None
    left_s = np.inf
    level: float | None = None
    for i in range(len(values) - rests):
        rest = values[i : i + rests]
        if np.ptp(rest) > SEEN / 2:
            level = None
            continue
        if times[i] > left_s:
            break
        # What rests from here on is where it came to rest, not where it is leaving.
        level = float(np.median(rest)) if level is None else level
        off = values[i:] - level
        gone = np.flatnonzero((np.abs(off) if sign is None else sign * off) > LEFT)
        if len(gone) == 0:
            break
        way = float(np.sign(off[gone[0]]))
        left_s = float(times[i + gone[0]])
        first = _passes(times[i:], way * off)
        # What creeps out of its rest has no instant at which it starts.
        if first is not None and (sign is not None or left_s - first <= BRISK_S):
            last = first, way
    return last
