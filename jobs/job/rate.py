"""Frame rates: exact rationals written as text, never decimals."""

import re
from fractions import Fraction

_FORM = re.compile(r"([0-9]{1,7})(?:/([0-9]{1,7}))?", re.ASCII)
_DECIMAL = re.compile(r"[0-9]{1,7}\.[0-9]{1,20}", re.ASCII)

SLOWEST = Fraction(1)
FASTEST = Fraction(1000)


def parse_rate(text: object) -> Fraction:
    """Return the rate that a text such as "24" or "24000/1001" names.

    Returns:
        Frames a second, 1 to 1000, exact.

    Raises:
        ValueError: the value is not text, is a decimal, or is out of range; the
            message names what to write instead.
    """
    if not isinstance(text, str):
        raise ValueError(_number_refusal(text))
    found = _FORM.fullmatch(text)
    if found is None or int(found[2] or 1) == 0:
        raise ValueError(_text_refusal(text))
    rate = Fraction(int(found[1]), int(found[2] or 1))
    if not SLOWEST <= rate <= FASTEST:
        message = f'must be 1 to 1000 frames a second, got "{text}"'
        raise ValueError(message)
    return rate


def rate_text(rate: Fraction) -> str:
    """Return the text that `parse_rate` reads back as this rate."""
    return str(rate)


def nominal_rate(rate: Fraction) -> int:
    """Return the frames that one second of timecode counts: 24 for 24000/1001."""
    return -(-rate.numerator // rate.denominator)


def _number_refusal(value: object) -> str:
    if isinstance(value, int | float) and not isinstance(value, bool):
        shown = f"{value:.12g}" if abs(value) < FASTEST * 2 else "a large one"
        if _DECIMAL.fullmatch(shown) or shown.isdigit():
            return f"must be text, not the number {shown}; {_advice(Fraction(shown))}"
    return 'must be text that names an exact rate, say "24000/1001"'


def _text_refusal(text: str) -> str:
    if _DECIMAL.fullmatch(text):
        return f'a decimal is not exact, got "{text}"; {_advice(Fraction(text))}'
    shown = ascii(text[:40])[1:-1]
    return f'must be "24", "25" or an exact ratio such as "24000/1001", got "{shown}"'


def _advice(value: Fraction) -> str:
    """Return what to write for a rate given as a decimal."""
    if value >= 1 and value.denominator == 1:
        return f'say "{value}"'
    slowed = Fraction(nominal_rate(value) * 1000, 1001)
    if abs(value - slowed) < Fraction(1, 100):
        return f'say "{rate_text(slowed)}"'
    return 'say an exact ratio such as "24000/1001"'
