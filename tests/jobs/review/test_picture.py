"""The drawn take: the plan, the frame and the plots show the numbers of the take."""

import re
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pyarrow.parquet as pq
import pytest

from carrellata.jobs.examples.ferry_dash.make import FOLDER
from carrellata.jobs.review.picture import HEIGHT, WIDTH, picture
from carrellata.jobs.review.plan_view import GAUGE_M
from carrellata.jobs.review.shown import Shown, marked_rows, rail_points, shown_of
from carrellata.jobs.review.svg import Scale, element, number, text
from carrellata.jobs.run.local import solve_job
from carrellata.jobs.takes.metadata import take_metadata
from carrellata.jobs.takes.take_file import read_take
from carrellata.solver.arrays import FloatArray
from carrellata.solver.rigs.arc import arc

SHOT = "050"
DRAWN_PX = 0.011  # places are written to a hundredth of a pixel
SVG = "{http://www.w3.org/2000/svg}"
COMMITTED = Path(__file__).resolve().parents[3] / "deploy/pictures/movement.svg"


@pytest.fixture(scope="module")
def take_path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("picture")
    outcome = solve_job(FOLDER / "job.toml", out, shots=[SHOT], workers=1)
    assert not outcome.failed
    return outcome.folder / "takes" / f"{SHOT}.parquet"


@pytest.fixture(scope="module")
def shown(take_path: Path) -> Shown:
    return shown_of(read_take(take_path))


@pytest.fixture(scope="module")
def drawing(shown: Shown) -> ElementTree.Element:
    return ElementTree.fromstring(picture(shown))


@pytest.fixture(scope="module")
def rows(take_path: Path) -> dict[int, dict[str, float]]:
    """Rows of the take by frame."""
    return {row["frame"]: row for row in read_take(take_path).to_pylist()}


def part(drawing: ElementTree.Element, name: str) -> ElementTree.Element:
    found = drawing.find(f".//{SVG}g[@id='{name}']")
    assert found is not None
    return found


def of_class(
    parent: ElementTree.Element, kind: str, name: str
) -> list[ElementTree.Element]:
    return [
        each
        for each in parent.iter(f"{SVG}{kind}")
        if name in each.get("class", "").split()
    ]


def numbers(words: str | None) -> list[float]:
    return [float(found) for found in re.findall(r"-?\d+(?:\.\d+)?", words or "")]


def on_ground(plan: ElementTree.Element, place: list[float]) -> FloatArray:
    """Metres of a place of the plan, as its own attributes say."""
    (pixels,) = numbers(plan.get("data-pixels-per-metre"))
    left, top = numbers(plan.get("data-origin"))
    return np.array([(place[0] - left) / pixels, (top - place[1]) / pixels])


def drawn_m(plan: ElementTree.Element) -> float:
    """How exactly the plan is written [m]."""
    return DRAWN_PX / numbers(plan.get("data-pixels-per-metre"))[0]


def test_camera_triangles_stand_and_look_as_the_take_does(
    drawing: ElementTree.Element, rows: dict[int, dict[str, float]]
) -> None:
    plan = part(drawing, "plan")
    cameras = of_class(plan, "path", "camera")
    assert len(cameras) == 4
    for camera in cameras:
        row = rows[int(camera.get("data-frame", ""))]
        x, y, turn_deg = numbers(camera.get("transform"))
        place = [row["x"] / 100, row["y"] / 100]
        np.testing.assert_allclose(on_ground(plan, [x, y]), place, atol=drawn_m(plan))
        # The symbol points up the page, along +Y; a turn on the page is clockwise.
        assert turn_deg == pytest.approx(-row["pan_deg"], abs=0.006)


def test_circles_stand_where_the_subjects_table_says(
    drawing: ElementTree.Element,
) -> None:
    plan = part(drawing, "plan")
    table = pq.read_table(FOLDER / "subjects" / f"{SHOT}_courier.parquet").to_pylist()
    places = {row["frame"]: [row["x"] / 100, row["y"] / 100] for row in table}
    circles = of_class(plan, "circle", "mark")
    assert len(circles) == 4
    for circle in circles:
        drawn = [float(circle.get("cx", "")), float(circle.get("cy", ""))]
        place = places[int(circle.get("data-frame", ""))]
        np.testing.assert_allclose(on_ground(plan, drawn), place, atol=drawn_m(plan))


def test_rails_lie_half_a_gauge_beside_the_track_of_the_job(
    drawing: ElementTree.Element, take_path: Path
) -> None:
    plan = part(drawing, "plan")
    rig = take_metadata(read_take(take_path)).setup.rig
    start, end = np.array(rig.from_[:2]) / 100, np.array(rig.to[:2]) / 100
    along = (end - start) / np.hypot(*(end - start))
    left = GAUGE_M / 2 * np.array([-along[1], along[0]])
    rails = of_class(plan, "path", "rail")
    assert len(rails) == 2
    for rail, side in zip(rails, (left, -left), strict=True):
        x0, y0, x1, y1 = numbers(rail.get("d"))
        drawn = [on_ground(plan, [x0, y0]), on_ground(plan, [x1, y1])]
        np.testing.assert_allclose(
            drawn, [start + side, end + side], atol=drawn_m(plan)
        )


def test_scale_bar_is_as_long_as_it_says(drawing: ElementTree.Element) -> None:
    bar = part(drawing, "scale_bar")
    axis = of_class(bar, "line", "axis")[0]
    length_px = float(axis.get("x2", "")) - float(axis.get("x1", ""))
    (pixels,) = numbers(part(drawing, "plan").get("data-pixels-per-metre"))
    (metres,) = numbers(bar.get("data-metres"))
    assert metres > 0
    assert length_px / pixels == pytest.approx(metres, rel=1e-3)


def test_edges_of_a_view_enclose_the_angle_of_the_lens(
    drawing: ElementTree.Element,
) -> None:
    # 50 mm on 24.89 mm of film: 2 atan(24.89 / 100) = 27.96 degrees.
    for view in of_class(part(drawing, "plan"), "path", "view"):
        left, lens, right = np.array(numbers(view.get("d"))).reshape(3, 2)
        angles = [np.arctan2(*(edge - lens)[::-1]) for edge in (left, right)]
        turned = np.degrees(angles[1] - angles[0])
        assert turned == pytest.approx(27.96, abs=0.05)


def test_marks_in_the_frame_stand_where_the_take_sees_the_subject(
    drawing: ElementTree.Element, shown: Shown, rows: dict[int, dict[str, float]]
) -> None:
    frame = part(drawing, "frame")
    edge = of_class(frame, "rect", "edge")[0]
    left, top, width, height = (
        float(edge.get(name, "")) for name in ("x", "y", "width", "height")
    )
    assert width / height == pytest.approx(2.39, abs=1e-3)
    circles = of_class(frame, "circle", "mark")
    for circle, k in zip(circles, shown.marks, strict=True):
        row = rows[int(shown.frames[k])]
        u = 2 * (float(circle.get("cx", "")) - left) / width - 1
        v = 1 - 2 * (float(circle.get("cy", "")) - top) / height
        assert u == pytest.approx(row["subject_u"], abs=2e-4)
        assert v == pytest.approx(row["subject_v"], abs=2e-4)


def test_bearing_speed_adds_up_to_the_turn_of_the_bearing(shown: Shown) -> None:
    toward = shown.eyes - shown.camera
    bearing = np.degrees(np.unwrap(np.arctan2(-toward[:, 0], toward[:, 1])))
    turned = np.trapezoid(shown.bearing_speed, shown.times_s)
    assert np.ptp(bearing) > 5
    assert turned == pytest.approx(bearing[-1] - bearing[0], abs=0.3)


def test_every_decision_of_the_cut_has_a_tick(
    drawing: ElementTree.Element, rows: dict[int, dict[str, float]]
) -> None:
    for plot, column in (("pan_plot", "decided_pan"), ("dolly_plot", "decided_dolly")):
        cut = [row[column] for row in rows.values() if not row["handle"]]
        (ticks,) = of_class(part(drawing, plot), "path", "decision")
        assert (ticks.get("d") or "").count("M") == sum(cut) > 0


def test_speeds_are_drawn_at_the_scale_of_the_axis(
    drawing: ElementTree.Element, shown: Shown
) -> None:
    plot = part(drawing, "pan_plot")
    labels = list(plot.iter(f"{SVG}text"))
    values = [float((each.text or "").replace("\u2212", "-")) for each in labels]
    heights = [float(each.get("y", "")) - 4 for each in labels]
    slope, offset = np.polyfit(heights, values, 1)
    curve = np.array(numbers(of_class(plot, "path", "pan")[0].get("d")))[1::2]
    np.testing.assert_allclose(
        slope * curve + offset, shown.column("pan_speed"), atol=0.01
    )


def test_arc_is_drawn_where_the_rig_puts_the_lens() -> None:
    inside = arc(
        np.array([3.0, 1.5, 2.0]),
        radius=5.0,
        start=np.radians(195.0),
        sweep=np.radians(45.0),
    )
    drawn = rail_points(inside)
    places = inside.places(np.linspace(0.0, inside.length_m, len(drawn)))
    np.testing.assert_allclose(drawn, places[:, [0, 2]] * [1, -1], atol=1e-9)


def test_marked_rows_run_from_first_to_last_with_equal_ways() -> None:
    camera = np.column_stack([np.linspace(0, 6, 61), np.zeros(61)])
    rows = marked_rows(camera, np.ones((61, 2)), 4)
    assert rows == (0, 20, 40, 60)


def test_picture_describes_itself_and_stands_on_its_own_ground(
    drawing: ElementTree.Element,
) -> None:
    described = drawing.get("aria-labelledby", "").split()
    for name in described:
        found = drawing.find(f".//*[@id='{name}']")
        assert found is not None
        assert found.text
    assert described == ["title", "desc"]
    ground = drawing.find(f"{SVG}rect")
    assert ground is not None
    assert ground.get("fill")
    size = [float(ground.get(name, "")) for name in ("width", "height")]
    assert size == [WIDTH, HEIGHT]
    assert not list(drawing.iter(f"{SVG}image"))


def test_no_type_is_below_eleven_pixels(drawing: ElementTree.Element) -> None:
    style = drawing.find(f"{SVG}style")
    assert style is not None
    sizes = [
        float(found) for found in re.findall(r"font-size:(\d+)px", style.text or "")
    ]
    assert min(sizes) >= 11


def test_committed_picture_is_whole_and_small() -> None:
    data = COMMITTED.read_bytes()
    assert len(data) < 80_000
    assert ElementTree.fromstring(data).get("viewBox") == f"0 0 {WIDTH} {HEIGHT}"


def test_words_and_attributes_are_escaped() -> None:
    drawn = ElementTree.fromstring(element("g", text("a < b & c", (1, 2)), id='"<&'))
    assert drawn.get("id") == '"<&'
    assert drawn[0].text == "a < b & c"


@pytest.mark.parametrize(
    ("value", "written"),
    [(1.0, "1"), (0.126, "0.13"), (-0.001, "0"), (100.0, "100"), (-2.5, "-2.5")],
)
def test_numbers_are_short_and_have_no_negative_zero(
    value: float, written: str
) -> None:
    assert number(value) == written


def test_ticks_are_round_and_lie_on_the_scale() -> None:
    scale = Scale(low=-12.0, high=21.0, start=100.0, end=0.0)
    np.testing.assert_allclose(scale.ticks(5), [-10, 0, 10, 20])
    assert scale(-12.0) == 100
    assert scale(4.5) == 50
