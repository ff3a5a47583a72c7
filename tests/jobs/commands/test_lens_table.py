"""The lens table against hand reckoning."""

from math import atan, degrees, inf

import pytest

from carrellata.jobs.commands.lens_table import lens_table, plain_rows
from carrellata.jobs.job.camera import CameraSpec, LensSpec

CAMERA = CameraSpec(
    width_mm=24.0,
    height_mm=18.0,
    aspect=2.4,
    stop=4.0,
    coc_mm=0.025,
    lens_kit_mm=(75, 25, 50),
)
HEIGHT_M = 1.8


def test_row_follows_from_similar_triangles() -> None:
    row = lens_table(CAMERA, height_m=HEIGHT_M, headroom=0.1)[1]
    assert row.mm == 50
    assert row.horizontal_deg == pytest.approx(degrees(2 * atan(12 / 50)))
    assert row.vertical_deg == pytest.approx(degrees(2 * atan(5 / 50)))
    # 50^2 / (4 * 0.025) + 50 mm
    assert row.hyperfocal_m == pytest.approx(25.05)
    full = row.stands[0]
    assert full.size == "full"
    # 1.8 m over 80 % of a 10 mm picture behind a 50 mm lens
    assert full.distance_m == pytest.approx(1.8 / (0.8 * 0.010) * 0.050)
    far = full.distance_m * 25.0 / (25.05 - full.distance_m)
    assert full.far_m == pytest.approx(far)
    assert full.near_m < full.distance_m < full.far_m


def test_distance_grows_with_the_lens_and_shrinks_with_the_size() -> None:
    rows = lens_table(CAMERA, height_m=HEIGHT_M, headroom=0.1)
    assert [row.mm for row in rows] == [25, 50, 75]
    full = [row.stands[0].distance_m for row in rows]
    assert full == pytest.approx([full[0], 2 * full[0], 3 * full[0]])
    for row in rows:
        distances = [stand.distance_m for stand in row.stands]
        assert distances == sorted(distances, reverse=True)


@pytest.mark.parametrize(
    ("change", "way", "lenses"),
    [
        # Needs (0.40 / 0.27) / (0.9 / 0.9) = 1.48 times the focal length.
        (("medium", "chest"), 1, [50, 75, None]),
        (("chest", "medium"), -1, [None, 25, 50]),
        (("medium", "medium"), 0, [25, 50, 75]),
    ],
)
def test_change_of_size_is_a_push_or_the_next_lens(
    change: tuple[str, str], way: int, lenses: list[int | None]
) -> None:
    rows = lens_table(CAMERA, height_m=HEIGHT_M, headroom=0.1, change=change)
    assert [row.change.lens_mm for row in rows if row.change] == lenses
    for row in rows:
        assert row.change is not None
        distance = {stand.size: stand.distance_m for stand in row.stands}
        push = distance[change[0]] - distance[change[1]]
        assert row.change.push_m == pytest.approx(push)
        assert row.change.push_m * way >= 0
        needed = row.mm * distance[change[0]] / distance[change[1]]
        assert row.change.needed_mm == pytest.approx(needed)


def test_closer_than_the_lens_focuses_is_said() -> None:
    lens = LensSpec(mm=50, close_focus_m=1.2, widest_stop=5.6)
    camera = CameraSpec(width_mm=24.0, height_mm=18.0, lenses=(lens,))
    (row,) = lens_table(camera, height_m=HEIGHT_M, headroom=0.08)
    assert {s.size for s in row.stands if s.too_close} == {"eyes", "close"}
    assert row.stop == 5.6


def test_infinite_far_limit_is_null_in_json() -> None:
    camera = CameraSpec(
        width_mm=24.0, height_mm=18.0, stop=22.0, lens_kit_mm=(18,), coc_mm=0.025
    )
    rows = lens_table(camera, height_m=HEIGHT_M, headroom=0.1)
    assert rows[0].stands[0].far_m == inf
    assert plain_rows(rows)[0]["sizes"][0]["dof_far_m"] is None
    assert plain_rows(rows)[0]["change"] is None
