"""Shot sizes: what the frame shows at the distance the size asks for."""

from itertools import pairwise

import numpy as np
import pytest

from carrellata.solver.action.body import (
    EYES,
    SIZES,
    aim_fraction,
    aim_height_in_frame,
    fill_of,
    framing_distance_m,
    span_of,
)
from carrellata.solver.frame.projection import project
from carrellata.solver.optics.camera import aim

HEIGHT_M = 1.72
TY = 0.135


def _screen_heights(size, headroom):
    """Return v of the span's bottom and top, projected at the size's own distance."""
    distance = framing_distance_m(size, HEIGHT_M, headroom, TY)
    v = aim_height_in_frame(size, headroom)
    # A level camera, placed so that the aim point lies at v.
    lens_height = aim_fraction(size) * HEIGHT_M - v * TY * distance
    span = np.array(span_of(size)) * HEIGHT_M
    points = np.array([[0.0, span[0], -distance], [0.0, span[1], -distance]])
    _, heights, _ = project(
        points, np.array([0.0, lens_height, 0.0]), 0.0, 0.0, 0.0, 2.0 * TY, TY
    )
    return heights


@pytest.mark.parametrize("size", ["knee", "cowboy", "medium", "chest", "close"])
def test_span_reaches_from_the_lower_edge_to_the_headroom(size):
    assert _screen_heights(size, 0.08) == pytest.approx([-1.0, 1.0 - 0.16])


def test_full_leaves_the_same_room_under_the_feet():
    assert _screen_heights("full", 0.08) == pytest.approx([-0.84, 0.84])
    assert aim_height_in_frame("full", 0.08) == pytest.approx(0.0, abs=1e-15)


def test_a_size_that_cuts_the_crown_fills_the_frame_whatever_the_headroom():
    assert _screen_heights("eyes", 0.08) == pytest.approx([-1.0, 1.0])
    assert fill_of("eyes", 0.2) == 1.0
    assert aim_height_in_frame("eyes", 0.2) == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("fill", [0.25, 0.8, 1.0, 1.9, 6.0])
def test_a_numeric_fill_is_the_whole_bodys_share_of_frame_height(fill):
    distance = framing_distance_m(fill, HEIGHT_M, 0.1, TY)
    assert HEIGHT_M / (2.0 * TY * distance) == pytest.approx(fill)
    assert _screen_heights(fill, 0.1)[1] == pytest.approx(0.8)


def test_sizes_tighten_in_order():
    named = ["full", "knee", "cowboy", "medium", "chest", "close", "eyes"]
    assert list(SIZES) == named
    distances = [framing_distance_m(size, HEIGHT_M, 0.08, TY) for size in named]
    assert all(a > 1.1 * b for a, b in pairwise(distances))


def test_aim_goes_to_the_eyes_from_chest_on_in():
    assert [aim_fraction(size) for size in ("chest", "close", "eyes")] == [EYES] * 3
    assert aim_fraction("full") == 0.5
    assert aim_fraction("medium") == pytest.approx(0.8)
    assert aim_fraction(6.0) == EYES
    assert aim_fraction(0.4) == 0.5
    assert aim_fraction(2.0) == pytest.approx(0.75)


def test_chest_puts_the_eyes_near_the_upper_third():
    # Eyes on the upper third line, v = 1/3: common practice, no source.
    assert aim_height_in_frame("chest", 0.08) == pytest.approx(1.0 / 3.0, abs=0.1)


def test_aiming_at_the_height_gives_the_headroom_at_level():
    distance = framing_distance_m("close", HEIGHT_M, 0.08, TY)
    direction = np.array([[0.0, 0.0, -distance]])
    v = aim_height_in_frame("close", 0.08)
    pan, tilt, exact = aim(direction, 0.0, v, 0.0, 2.0 * TY, TY)
    assert exact.all()
    assert tilt == pytest.approx(-np.arctan(v * TY))
    assert pan == pytest.approx(0.0)
