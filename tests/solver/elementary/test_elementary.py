"""Elementary functions against exact values: within one unit in the last place."""

from collections.abc import Callable
from decimal import Decimal
from math import copysign, inf, isnan, nan, pi
from pathlib import Path

import exactly
import numpy as np
import pytest

from carrellata.solver.elementary import arrays
from carrellata.solver.elementary.arctangent import acos, asin, atan, atan2
from carrellata.solver.elementary.exponential import exp, expm1, log, log2
from carrellata.solver.elementary.length import hypot
from carrellata.solver.elementary.trigonometry import LARGEST, cos, sin, tan

SOLVER = Path(__file__).parents[3] / "solver"
SYSTEMS = (
    *("np.sin(", "np.cos(", "np.tan(", "np.arctan2(", "np.arctan(", "np.arcsin("),
    *("np.arccos(", "np.exp(", "np.expm1(", "np.log(", "np.log2(", "np.hypot("),
    *("np.log1p(", "np.sinh(", "np.tanh(", "np.power(", "math.", "np.linalg", " @ "),
)
RANDOM = np.random.default_rng(22)
Numbers = list[float]


def uniform(low: float, high: float, n: int) -> Numbers:
    return [float(x) for x in RANDOM.uniform(low, high, n)]


def decades(low: float, high: float, n: int) -> Numbers:
    return [10.0**x for x in uniform(low, high, n)]


ANGLES = [
    *uniform(-4, 4, 300),
    *uniform(-1000, 1000, 150),
    *uniform(-LARGEST, LARGEST, 50),
    *decades(-12, 0, 50),
    *(k * pi / 4 for k in range(-40, 40)),
    float(np.float64(355.0)),  # nearly 113 half turns
]
SHARES = [*uniform(-1, 1, 300), *(1 - x for x in decades(-10, -1, 50)), 0.5, -0.5]
SMALL = [*decades(-10, 0, 100), *(-x for x in decades(-10, 0, 100))]
CASES: dict[str, tuple[Callable[..., float], Callable[[float], Decimal], Numbers]] = {
    "sin": (sin, exactly.sine, ANGLES),
    "cos": (cos, exactly.cosine, ANGLES),
    "atan": (
        atan,
        lambda t: exactly.arctangent2(t, 1.0),
        [*uniform(-3, 3, 200), *decades(-6, 6, 50), 0.4375, 0.6875, 1.0],
    ),
    "asin": (asin, exactly.arcsine, [*SHARES, *SMALL]),
    "acos": (acos, exactly.arccosine, SHARES),
    "exp": (exp, exactly.exponential, [*uniform(-2, 2, 300), *uniform(-700, 700, 100)]),
    "expm1": (
        expm1,
        exactly.exponential_less_one,
        [*uniform(-2, 2, 300), *uniform(-20, 20, 100), *SMALL],
    ),
    "log": (log, exactly.logarithm, [*uniform(0.5, 2, 300), *decades(-20, 20, 100)]),
    "log2": (
        log2,
        exactly.logarithm2,
        [*uniform(0.5, 2, 300), *decades(-20, 20, 100)],
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_no_value_is_off_by_a_unit_in_its_last_place(name: str) -> None:
    function, exact, values = CASES[name]
    errors = [exactly.error_ulp(function(x), exact(x)) for x in values if x != 0]
    assert max(errors) < 1.0


def test_a_bearing_is_within_two_thirds_of_a_unit_all_round() -> None:
    pairs = [
        *zip(uniform(-9, 9, 300), uniform(-9, 9, 300), strict=True),
        *zip(decades(-8, 8, 60), uniform(-2, 2, 60), strict=True),
        *((0.0, 2.0), (0.0, -2.0), (3.0, 0.0), (-3.0, 0.0), (2.0, 2.0), (7.0, 16.0)),
    ]
    for y, x in pairs:
        exact = exactly.arctangent2(y, x)
        assert exact == 0 or exactly.error_ulp(atan2(y, x), exact) < 0.667


def test_a_length_is_within_a_unit() -> None:
    for x, y in zip(uniform(-9, 9, 200), decades(-9, 9, 200), strict=True):
        exact = (Decimal(x) ** 2 + Decimal(y) ** 2).sqrt()
        assert exactly.error_ulp(hypot(x, y), exact) < 1.0


def test_a_tangent_is_within_two_units() -> None:
    for x in uniform(-1.5, 1.5, 200):
        exact = exactly.sine(x) / exactly.cosine(x)
        assert exactly.error_ulp(tan(x), exact) < 2.0


def test_ends_of_the_ranges_are_exact() -> None:
    assert [sin(0.0), cos(0.0), exp(0.0), expm1(0.0), log(1.0)] == [0, 1, 1, 0, 0]
    assert [log2(2.0**k) for k in (-30, -1, 0, 3, 60)] == [-30, -1, 0, 3, 60]
    assert [asin(1.0), asin(-1.0), acos(1.0), acos(-1.0)] == [pi / 2, -pi / 2, 0, pi]
    assert [exp(-1000.0), exp(1000.0), exp(-inf), expm1(-1000.0)] == [0, inf, 0, -1]
    assert exp(-740.0) > 0.0  # a number too small for all its digits
    for x in (0.0, -0.0):
        assert copysign(1.0, atan2(x, 1.0)) == copysign(1.0, x)
        assert atan2(x, -1.0) == copysign(pi, x)
        assert atan2(x, x) == (copysign(pi, x) if copysign(1.0, x) < 0 else 0.0)


def test_what_has_no_value_is_not_a_number() -> None:
    for function in (sin, cos, tan, atan, asin, acos, exp, expm1, log, log2):
        assert isnan(function(nan))
    assert isnan(atan2(nan, 1.0))
    assert isnan(atan2(1.0, nan))
    assert all(map(isnan, (log(0.0), log2(-1.0), asin(1.5), acos(-1.5))))
    assert isnan(sin(2.0 * LARGEST))


def test_arrays_have_the_bits_of_their_elements() -> None:
    values = RANDOM.normal(size=(5, 3)) * 4
    other = RANDOM.normal(size=(5, 3)).T.copy().T
    sines, cosines = arrays.sines_cosines(values[:, ::2])
    assert sines.tolist() == [[sin(x) for x in row] for row in values[:, ::2]]
    assert cosines.tolist() == [[cos(x) for x in row] for row in values[:, ::2]]
    found = arrays.arctangents(values, other)
    pairs = zip(values.flat, other.flat, strict=True)
    assert found.ravel().tolist() == [atan2(y, x) for y, x in pairs]
    found = arrays.logarithms2(np.abs(values))
    assert found.ravel().tolist() == [log2(abs(x)) for x in values.flat]
    pairs = zip(values.flat, other.flat, strict=True)
    found = arrays.lengths(values, other)
    assert found.ravel().tolist() == [hypot(x, y) for x, y in pairs]
    assert arrays.arctangents(np.float64(1.0), np.float64(-1.0)).shape == ()


def test_no_kernel_calls_the_system() -> None:
    """Every kernel, by its source; only `sqrt` is exact everywhere."""
    bodies = 0
    for path in SOLVER.rglob("*.py"):
        _, *kernels = path.read_text(encoding="utf-8").split("@kernel\n")
        for text in kernels:
            body = text.split("\n\n\n")[0]
            if body.count('"""') == 2:
                body = body.split('"""')[2]
            bodies += 1
            assert not [name for name in SYSTEMS if name in body], path
    assert bodies > 100
