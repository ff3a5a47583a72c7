"""Timecode labels of frames, with and without drop-frame counting.

Drop-frame counting leaves out labels, never frames: the first two of each minute
but every tenth at 30000/1001, the first four at 60000/1001, so that the label
stays near the clock. A label wraps at 24 hours.

Source: SMPTE ST 12-1 (the rule; checked against counts in its test).
"""

import re
from fractions import Fraction

from .rate import nominal_rate, rate_text

_FORM = re.compile(r"([0-9]{2}):([0-5][0-9]):([0-5][0-9])([:;])([0-9]{2,4})", re.ASCII)
_DROPPED = {Fraction(30000, 1001): 2, Fraction(60000, 1001): 4}


def is_drop_frame(text: str) -> bool:
    """Return whether a label counts in drop-frame: ";" stands before its frames."""
    return ";" in text


def frame_of_label(text: str, rate: Fraction) -> int:
    """Return the number of frames from 00:00:00:00 to a label.

    Args:
        text: "HH:MM:SS:FF", or "HH:MM:SS;FF" for drop-frame.
        rate: frames a second, whole or 1000/1001 of a whole rate.

    Raises:
        ValueError: not a label, not one that exists, or not one of this rate.
    """
    found = _FORM.fullmatch(text)
    if found is None:
        message = f"must be HH:MM:SS:FF, got {text[:40]!a}"
        raise ValueError(message)
    hours, minutes, seconds = (int(found[k]) for k in (1, 2, 3))
    frames = int(found[5])
    nominal = _counted(rate)
    if hours > 23:
        message = f"hours run from 00 to 23, got {text}"
        raise ValueError(message)
    if frames >= nominal:
        message = f"frames run from 00 to {nominal - 1} at {rate}, got {text}"
        raise ValueError(message)
    minute = 60 * hours + minutes
    count = (60 * minute + seconds) * nominal + frames
    if found[4] == ":":
        return count
    dropped = _dropped(rate)
    if seconds == 0 and frames < dropped and minute % 10:
        message = f"{text} is left out in drop-frame; the next label is ;{dropped:02d}"
        raise ValueError(message)
    return count - dropped * (minute - minute // 10)


def label_of_frame(frame: int, rate: Fraction) -> str:
    """Return the label "HH:MM:SS:FF" of a frame counted from 00:00:00:00.

    Args:
        frame: any whole number; 24 hours are taken off or added until it fits.
        rate: frames a second, whole or 1000/1001 of a whole rate.

    Raises:
        ValueError: the rate has no timecode.
    """
    return _written(frame, _counted(rate), ":")


def drop_frame_label_of_frame(frame: int, rate: Fraction) -> str:
    """Return the drop-frame label "HH:MM:SS;FF" of a frame from 00:00:00;00.

    Args:
        frame: any whole number; 24 hours are taken off or added until it fits.
        rate: 30000/1001 or 60000/1001 frames a second.

    Raises:
        ValueError: the rate has no drop-frame timecode.
    """
    nominal, dropped = _counted(rate), _dropped(rate)
    in_minute = 60 * nominal - dropped
    in_ten = 10 * in_minute + dropped
    tens, rest = divmod(frame % (144 * in_ten), in_ten)
    # The first minute of ten keeps all its labels.
    minute = max(0, (rest - dropped) // in_minute)
    return _written(
        frame % (144 * in_ten) + dropped * (9 * tens + minute), nominal, ";"
    )


def _counted(rate: Fraction) -> int:
    nominal = nominal_rate(rate)
    if rate not in (nominal, Fraction(nominal * 1000, 1001)):
        message = (
            "needs a whole rate or 1000/1001 of one, "
            f"the rate is {rate_text(rate)} frames a second"
        )
        raise ValueError(message)
    return nominal


def _dropped(rate: Fraction) -> int:
    if rate not in _DROPPED:
        message = (
            'drop-frame (";") exists at 30000/1001 and 60000/1001 only, '
            f"the rate is {rate_text(rate)}"
        )
        raise ValueError(message)
    return _DROPPED[rate]


def _written(count: int, nominal: int, separator: str) -> str:
    seconds, frames = divmod(count % (86400 * nominal), nominal)
    minutes, seconds = divmod(seconds, 60)
    hours, minutes = divmod(minutes, 60)
    digits = max(2, len(str(nominal - 1)))
    return f"{hours:02d}:{minutes:02d}:{seconds:02d}{separator}{frames:0{digits}d}"
