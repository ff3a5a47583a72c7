"""The lens: hyperfocal distance, depth of field and angle of view.

Thin lens. Focus distance is measured from the pinhole of the pose; the few
centimetres to the film plane, from which a real lens is marked, are ignored.
An anamorphic lens has the depth of field of its marked focal length.

Source: Ray 2002, Applied Photographic Optics (formulas from memory; worked
examples in tests/reference/test_optics.py).
"""

from dataclasses import dataclass

import numpy as np

from ..arrays import FloatArray

_MM = 1e-3  # metres in a millimetre


@dataclass(frozen=True, slots=True)
class Lens:
    """A prime lens of the kit.

    `close_focus_m` is its nearest focus [m], `widest_stop` its smallest
    f-number.
    """

    focal_mm: float
    close_focus_m: float = 0.3
    widest_stop: float = 1.4


def hyperfocal_m(focal_mm: float, stop: float, coc_mm: float) -> float:
    """Return the hyperfocal distance f^2 / (N c) + f [m].

    Args:
        focal_mm: marked focal length [mm].
        stop: f-number N.
        coc_mm: circle of confusion c on the film [mm].
    """
    return (focal_mm * focal_mm / (stop * coc_mm) + focal_mm) * _MM


def depth_of_field_m(
    focal_mm: float, stop: float, coc_mm: float, focus_m: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the near and far limits of acceptable sharpness.

    With hyperfocal H = f^2 / (N c) + f and focus s:
    near = s (H - f) / (H + s - 2f), far = s (H - f) / (H - s).

    Args:
        focal_mm: marked focal length f [mm].
        stop: f-number N.
        coc_mm: circle of confusion c on the film [mm].
        focus_m: focus distance s, (n,) or scalar [m], > f; may be +inf.

    Returns:
        Near and far limit [m], of the shape of `focus_m`; far is +inf from the
        hyperfocal distance on.
    """
    focal = focal_mm * _MM
    reach = hyperfocal_m(focal_mm, stop, coc_mm)
    # In dioptres both limits stay finite at any focus, infinity included.
    dioptres = 1.0 / np.asarray(focus_m, dtype=np.float64)
    near = (reach - focal) / (1.0 + (reach - 2.0 * focal) * dioptres)
    margin = reach * dioptres - 1.0
    bounded = margin > 0.0
    far = np.where(bounded, (reach - focal) / np.where(bounded, margin, 1.0), np.inf)
    return near, far
