"""What is left out of a long curve does not show."""

import numpy as np

from carrellata.jobs.review.thinned import (
    COLUMN_PX,
    MOST_POINTS,
    shown_of_curve,
    shown_of_trace,
)


def test_a_short_curve_is_drawn_whole() -> None:
    n = MOST_POINTS
    kept = shown_of_curve(np.linspace(0, 300, n), np.zeros(n))
    np.testing.assert_array_equal(kept, np.arange(n))


def test_lowest_and_highest_of_every_column_are_kept() -> None:
    rng = np.random.default_rng(4)
    across = np.linspace(0, 300, 50_000)
    heights = np.cumsum(rng.normal(size=50_000))
    kept = shown_of_curve(across, heights)
    assert len(kept) < 4 * 300 / COLUMN_PX + 10
    column = np.floor(across / COLUMN_PX)
    for each in np.unique(column)[::37]:
        of_column = np.flatnonzero(column == each)
        left = np.intersect1d(of_column, kept)
        assert heights[left].min() == heights[of_column].min()
        assert heights[left].max() == heights[of_column].max()
    assert kept[0] == 0
    assert kept[-1] == len(across) - 1


def test_breaks_stay_breaks() -> None:
    across = np.linspace(0, 100, 9000)
    heights = np.sin(across)
    heights[4000:5000] = np.nan
    kept = shown_of_curve(across, heights)
    broken = np.isnan(heights[kept])
    assert broken.any()
    inside = (kept >= 4000) & (kept < 5000)
    np.testing.assert_array_equal(broken, inside)
    assert {3999, 4000, 4999, 5000} <= set(kept.tolist())


def test_a_long_trace_keeps_its_ends() -> None:
    kept = shown_of_trace(100_000)
    assert len(kept) <= MOST_POINTS + 2
    assert (kept[0], kept[-1]) == (0, 99_999)
    np.testing.assert_array_equal(shown_of_trace(5), np.arange(5))
