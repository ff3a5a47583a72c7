"""What each lens of a kit gives: angles, distances, depth, and a change of size."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import degrees, isinf
from typing import Any

from ...solver.action.body import SIZES, framing_distance_m
from ...solver.optics.camera import Gate
from ...solver.optics.lens import depth_of_field_m, hyperfocal_m
from ..job.camera import CameraSpec


@dataclass(frozen=True, kw_only=True, slots=True)
class Stand:
    """Where a lens shows one size of the subject.

    Attributes:
        size: name of the size.
        distance_m: from lens to subject [m].
        near_m: near limit of sharpness with the focus on the subject [m].
        far_m: far limit [m]; +inf from the hyperfocal distance on.
        too_close: nearer than the lens focuses.
    """

    size: str
    distance_m: float
    near_m: float
    far_m: float
    too_close: bool


@dataclass(frozen=True, kw_only=True, slots=True)
class SizeChange:
    """What a change of size takes, from where a lens shows the first.

    Attributes:
        push_m: way in with the same lens [m]; negative is back.
        needed_mm: focal length that shows the new size from the same place.
        lens_mm: lens of the kit nearest to it that is no shorter going in, no
            longer coming out; None where the kit has none.
    """

    push_m: float
    needed_mm: float
    lens_mm: float | None


@dataclass(frozen=True, kw_only=True, slots=True)
class LensRow:
    """One lens of the kit.

    Attributes:
        mm: marked focal length.
        horizontal_deg: angle of view of the delivered frame, desqueezed.
        vertical_deg: its vertical angle of view.
        hyperfocal_m: focus from which on far is sharp to infinity.
        stop: f-number that the depths were computed for.
        stands: one a size.
        change: of size, if one was asked for.
    """

    mm: float
    horizontal_deg: float
    vertical_deg: float
    hyperfocal_m: float
    stop: float
    stands: tuple[Stand, ...]
    change: SizeChange | None


def lens_table(
    camera: CameraSpec,
    *,
    height_m: float,
    headroom: float,
    sizes: Sequence[str] = tuple(SIZES),
    change: tuple[str, str] | None = None,
) -> tuple[LensRow, ...]:
    """Return a row for each lens of a kit, shortest first.

    Args:
        camera: film back, delivery, stop, circle of confusion and kit.
        height_m: stature of the subject [m], > 0.
        headroom: share of the frame height, 0 to < 0.5.
        sizes: names of shot sizes.
        change: sizes (from, to) of the change to compute.
    """
    gate = camera.gate
    kit = tuple(lens.mm for lens in camera.kit)
    rows = []
    for lens in camera.kit:
        stop = max(camera.stop, lens.widest_stop)
        angles = gate.angles_of_view(lens.mm)
        stands = [
            _stand(
                size,
                _distance_m(gate, lens.mm, size, height_m, headroom),
                (lens.mm, stop, camera.coc_mm),
                lens.close_focus_m,
            )
            for size in sizes
        ]
        rows.append(
            LensRow(
                mm=lens.mm,
                horizontal_deg=degrees(angles[0]),
                vertical_deg=degrees(angles[1]),
                hyperfocal_m=hyperfocal_m(lens.mm, stop, camera.coc_mm),
                stop=stop,
                stands=tuple(stands),
                change=None
                if change is None
                else _change(
                    lens.mm,
                    kit,
                    *(
                        _distance_m(gate, lens.mm, s, height_m, headroom)
                        for s in change
                    ),
                ),
            )
        )
    return tuple(rows)


def plain_rows(rows: Sequence[LensRow]) -> list[dict[str, Any]]:
    """Return rows as plain values for JSON: an infinite far limit is null."""
    return [
        {
            "lens_mm": row.mm,
            "horizontal_deg": row.horizontal_deg,
            "vertical_deg": row.vertical_deg,
            "hyperfocal_m": row.hyperfocal_m,
            "stop": row.stop,
            "sizes": [
                {
                    "size": stand.size,
                    "distance_m": stand.distance_m,
                    "dof_near_m": stand.near_m,
                    "dof_far_m": None if isinf(stand.far_m) else stand.far_m,
                    "closer_than_focus": stand.too_close,
                }
                for stand in row.stands
            ],
            "change": None
            if row.change is None
            else {
                "push_m": row.change.push_m,
                "needed_mm": row.change.needed_mm,
                "lens_mm": row.change.lens_mm,
            },
        }
        for row in rows
    ]


def _distance_m(
    gate: Gate, mm: float, size: str, height_m: float, headroom: float
) -> float:
    return framing_distance_m(size, height_m, headroom, gate.half_tangents(mm)[1])


def _stand(
    size: str,
    distance_m: float,
    optics: tuple[float, float, float],
    close_focus_m: float,
) -> Stand:
    near, far = depth_of_field_m(*optics, distance_m)  # type: ignore[arg-type]
    return Stand(
        size=size,
        distance_m=distance_m,
        near_m=float(near),
        far_m=float(far),
        too_close=distance_m < close_focus_m,
    )


def _change(mm: float, kit: Sequence[float], now_m: float, then_m: float) -> SizeChange:
    # At one place the picture of the subject grows with the focal length.
    needed = mm * now_m / then_m
    if needed >= mm:
        chosen = min((lens for lens in kit if lens >= needed), default=None)
    else:
        chosen = max((lens for lens in kit if lens <= needed), default=None)
    return SizeChange(push_m=now_m - then_m, needed_mm=needed, lens_mm=chosen)
