"""Numbers and lines of a drawing against plain formatting."""

import numpy as np
import pytest

from carrellata.jobs.review.svg import number, numbers, path, steps


def plain(value: float) -> str:
    words = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if words in ("-0", "") else words


def test_numbers_are_those_of_plain_formatting_to_half_a_hundredth() -> None:
    values = np.random.default_rng(3).uniform(-900, 900, 4000)
    for words, value in zip(numbers(values), values, strict=True):
        assert abs(float(words) - value) <= 0.005 + 1e-9
        assert len(words) <= len(plain(value))
    whole = np.arange(-500, 500)
    assert numbers(whole.astype(np.float64)) == [str(value) for value in whole]


@pytest.mark.parametrize(
    ("value", "words"), [(10.0, "10"), (100.5, "100.5"), (-0.001, "0"), (0.25, "0.25")]
)
def test_number_has_no_needless_digits(value: float, words: str) -> None:
    assert number(value) == words
    assert numbers(np.array([value])) == [words]


def test_line_is_broken_where_a_point_is_not_finite() -> None:
    points = np.array([(0, 1), (2, 3.5), (np.nan, 0), (4, 5), (6, np.inf), (7, 8)])
    assert steps(points) == "M0 1L2 3.5M4 5M7 8"
    assert steps(points[2:3]) == ""
    assert steps(np.empty((0, 2))) == ""
    assert 'd="M0 1L2 3.5"' in path(points[:2], class_="a")
