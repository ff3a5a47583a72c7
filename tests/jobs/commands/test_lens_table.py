"""The lens table against hand reckoning."""

from math import atan, atan2, degrees, inf
from pathlib import Path
from xml.etree import ElementTree

import pytest
from command_line import run

from carrellata.jobs.commands.lens_picture import lens_picture
from carrellata.jobs.commands.lens_table import lens_table, plain_rows
from carrellata.jobs.job.camera import CameraSpec, LensSpec
from carrellata.solver.action.body import SIZES

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


def test_the_picture_shows_the_numbers_of_the_table() -> None:
    camera = CameraSpec(film_back="super35-4perf", aspect=2.39, lens_kit_mm=(25, 50))
    rows = lens_table(camera, height_m=1.7, headroom=0.08)
    svg = lens_picture(rows, height_m=1.7, headroom=0.08, aspect=2.39)
    assert svg == lens_picture(rows, height_m=1.7, headroom=0.08, aspect=2.39)
    root = ElementTree.fromstring(svg)
    name = "{http://www.w3.org/2000/svg}"
    bars = [one for one in root.iter(f"{name}line") if one.get("class") == "frame"]
    widths = [float(one.attrib["x2"]) - float(one.attrib["x1"]) for one in bars]
    # The frames of one size are equally wide, whatever the lens.
    assert widths[0] == pytest.approx(widths[1], abs=0.05)
    views = [one for one in root.iter(f"{name}line") if one.get("class") == "view"]
    x1, y1, x2, y2 = (float(views[1].attrib[k]) for k in ("x1", "y1", "x2", "y2"))
    half = degrees(atan2(x2 - x1, y1 - y2))
    assert half == pytest.approx(rows[0].horizontal_deg / 2, abs=0.05)
    words = " ".join(one.text or "" for one in root.iter(f"{name}text"))
    assert "25 mm, 53" in words
    assert all(size in words for size in SIZES)


def test_the_command_draws_the_lenses_of_a_kit(tmp_path: Path) -> None:
    file = tmp_path / "lenses.svg"
    assert run("lenses", "--kit", "35,50", "--picture", file).code == 0
    assert "50 mm, 2" in file.read_text(encoding="utf-8")
