"""Elementary functions to fifty digits by their series, slow and obvious."""

from collections.abc import Callable
from decimal import Decimal, localcontext
from functools import cache
from math import ulp

DIGITS = 60


def error_ulp(found: float, exact: Decimal) -> float:
    """Return how far a number is off, in units of its last place."""
    with localcontext(prec=DIGITS):
        off = abs(Decimal(found) - exact)
        return float(off / Decimal(ulp(float(exact))))


def sine(x: float) -> Decimal:
    return _with_digits(lambda: _sine(Decimal(x)))


def cosine(x: float) -> Decimal:
    return _with_digits(lambda: _sine(Decimal(x) + _pi() / 2))


def arctangent2(y: float, x: float) -> Decimal:
    return _with_digits(lambda: _arctangent2(Decimal(y), Decimal(x), behind=x < 0))


def arcsine(x: float) -> Decimal:
    def found() -> Decimal:
        wide = (1 - Decimal(x) * Decimal(x)).sqrt()
        return _arctangent2(Decimal(x), wide, behind=False)

    return _with_digits(found)


def arccosine(x: float) -> Decimal:
    def found() -> Decimal:
        high = (1 - Decimal(x) * Decimal(x)).sqrt()
        return _arctangent2(high, Decimal(x), behind=x < 0)

    return _with_digits(found)


def exponential(x: float) -> Decimal:
    return _with_digits(lambda: Decimal(x).exp())


def exponential_less_one(x: float) -> Decimal:
    return _with_digits(lambda: Decimal(x).exp() - 1)


def logarithm(x: float) -> Decimal:
    return _with_digits(lambda: Decimal(x).ln())


def logarithm2(x: float) -> Decimal:
    return _with_digits(lambda: Decimal(x).ln() / Decimal(2).ln())


def _with_digits(compute: Callable[[], Decimal]) -> Decimal:
    with localcontext(prec=DIGITS + 20):
        return +compute()


@cache
def _pi() -> Decimal:
    """Return pi by Machin's formula."""
    fifth, other = Decimal(1) / 5, Decimal(1) / 239
    return 4 * (4 * _arctangent_series(fifth) - _arctangent_series(other))


def _arctangent_series(x: Decimal) -> Decimal:
    total, power, n = Decimal(0), x, 1
    while abs(power) > Decimal(10) ** -(DIGITS + 15):
        total += power / n if n % 4 == 1 else -power / n
        power *= x * x
        n += 2
    return total


def _sine(x: Decimal) -> Decimal:
    turns = (x / (2 * _pi())).to_integral_value()
    x -= turns * 2 * _pi()
    total, term, n = Decimal(0), x, 1
    while abs(term) > Decimal(10) ** -(DIGITS + 15) * abs(x):
        total += term
        term *= -x * x / ((n + 1) * (n + 2))
        n += 2
        if not term:
            break
    return total


def _arctangent2(y: Decimal, x: Decimal, *, behind: bool) -> Decimal:
    """Halve the angle until its series is short."""
    if y == 0 and not behind:
        return Decimal(0)
    away = (x * x + y * y).sqrt()
    if behind:
        quarter = _arctangent2(away + x, abs(y), behind=False) * 2
        found = _pi() - quarter if y else _pi()
        return -found if y < 0 else found
    t, halvings = y / (away + x), 1
    while abs(t) > Decimal("0.1"):
        t = t / (1 + (1 + t * t).sqrt())
        halvings += 1
    return _arctangent_series(t) * 2**halvings
