"""Depth of field: identities and an oracle traced through the thin lens."""

import math

import numpy as np
import pytest

from carrellata.solver.optics.camera import used_gate
from carrellata.solver.optics.lens import Lens, depth_of_field_m, hyperfocal_m

CASES = [(25.0, 5.6, 0.025), (50.0, 2.8, 0.025), (100.0, 2.0, 0.03), (18.0, 11.0, 0.05)]


def _blur_mm(point_m, focus_m, focal_mm, stop):
    """Blur disc on the film of a point, by the thin-lens equation."""
    film = 1.0 / (1.0 / focal_mm - 1.0 / (1e3 * focus_m))
    image = 1.0 / (1.0 / focal_mm - 1.0 / (1e3 * point_m))
    return focal_mm / stop * abs(image - film) / image


@pytest.mark.parametrize(("focal_mm", "stop", "coc_mm"), CASES)
def test_blur_at_both_limits_is_the_circle_of_confusion(focal_mm, stop, coc_mm):
    reach = hyperfocal_m(focal_mm, stop, coc_mm)
    focus = np.linspace(0.3, 0.95 * reach, 9)
    near, far = depth_of_field_m(focal_mm, stop, coc_mm, focus)
    for s, a, b in zip(focus, near, far, strict=True):
        assert a < s < b
        assert _blur_mm(a, s, focal_mm, stop) == pytest.approx(coc_mm, rel=1e-9)
        assert _blur_mm(b, s, focal_mm, stop) == pytest.approx(coc_mm, rel=1e-9)


@pytest.mark.parametrize(("focal_mm", "stop", "coc_mm"), CASES)
def test_focus_at_the_hyperfocal_is_sharp_from_half_of_it(focal_mm, stop, coc_mm):
    reach = hyperfocal_m(focal_mm, stop, coc_mm)
    near, far = depth_of_field_m(focal_mm, stop, coc_mm, np.array([reach, 2.0 * reach]))
    assert near[0] == pytest.approx(reach / 2.0, rel=1e-12)
    assert np.all(np.isinf(far))


def test_focus_at_infinity_is_sharp_from_near_the_hyperfocal():
    near, far = depth_of_field_m(50.0, 4.0, 0.025, np.array([np.inf]))
    assert near[0] == pytest.approx(25.0, rel=1e-12)
    assert np.isposinf(far[0])


def test_stopping_down_deepens_and_a_longer_lens_shallows():
    focus = np.array([2.0, 4.0])
    near, far = depth_of_field_m(50.0, 2.8, 0.025, focus)
    deep_near, deep_far = depth_of_field_m(50.0, 5.6, 0.025, focus)
    thin_near, thin_far = depth_of_field_m(75.0, 2.8, 0.025, focus)
    assert np.all((deep_near < near) & (near < thin_near))
    assert np.all((deep_far > far) & (far > thin_far))


def test_lens_and_gate_agree_on_the_angle_of_view():
    gate = used_gate(24.89, 18.66, aspect=2.39, squeeze=2.0)
    lens = Lens(40.0)
    across, up = gate.angles_of_view(40.0)
    # At infinity: 2 atan(extent / 2f), the width desqueezed.
    assert across == pytest.approx(2 * math.atan(2.0 * gate.width_mm / 80.0))
    assert up == pytest.approx(2 * math.atan(gate.height_mm / 80.0))
    assert (lens.close_focus_m, lens.widest_stop) == (0.3, 1.4)
