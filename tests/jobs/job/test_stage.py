"""The stage: floors that can be stood on, boxes that are boxes, and their cascade."""

from typing import Any

import numpy as np
import pytest
from job_tables import a_job, a_shot

from carrellata.jobs.errors import JobError
from carrellata.jobs.job.parse import parse_job
from carrellata.jobs.job.stage import STRAIGHT_M, StageSpec

FLOOR = [[0, 0], [900, 0], [900, 600], [0, 600]]
KIOSK = {"name": "kiosk", "from": [0, 0, 0], "to": [90, 90, 200]}
SQUARE = [[0, 0], [9, 0], [9, 9], [0, 9]]


def stage_of(**fields: Any) -> StageSpec:
    return parse_job(a_job(stage=fields)).shots[0].stage


def faults_of(**fields: Any) -> list[str]:
    with pytest.raises(JobError) as caught:
        parse_job(a_job(stage=fields))
    return str(caught.value).splitlines()


def test_a_stage_is_read_whole() -> None:
    stage = stage_of(
        floor=FLOOR,
        keep_outs=[KIOSK | {"sight": "forbid"}],
        height_m=[0.3, 2.6],
        ground=-5,
        straight_m=3.05,
        curve_radius_m=[3.1, 6.2],
        min_distance_m=1.5,
    )
    assert stage.floor == ((0, 0), (900, 0), (900, 600), (0, 600))
    assert stage.keep_outs[0].sight == "forbid"
    assert stage.keep_outs[0].to == (90, 90, 200)
    assert (stage.height_m, stage.ground) == ((0.3, 2.6), -5)
    assert (stage.section_m, stage.curve_radius_m) == (3.05, (3.1, 6.2))
    assert stage.min_distance_m == 1.5


def test_without_a_stage_cameras_stand_anywhere_a_metre_off() -> None:
    stage = parse_job(a_job()).shots[0].stage
    assert (stage.floor, stage.keep_outs, stage.height_m) == (None, (), None)
    assert (stage.straight_m, stage.section_m) == (None, STRAIGHT_M)
    assert stage.min_distance_m == 1.0
    assert pytest.approx(8 * 0.3048, abs=0.005) == STRAIGHT_M


def test_a_stage_is_inherited_field_by_field() -> None:
    job = a_job(
        a_shot(scene="hall", stage={"min_distance_m": 2}),
        a_shot(name="020"),
        stage={"floor": FLOOR, "height_m": [0.3, 2.6]},
        scenes={"hall": {"stage": {"height_m": [0.5, 1.8]}}},
    )
    hall, plain = (shot.stage for shot in parse_job(job).shots)
    assert hall.floor == plain.floor == stage_of(floor=FLOOR).floor
    assert (hall.height_m, plain.height_m) == ((0.5, 1.8), (0.3, 2.6))
    assert (hall.min_distance_m, plain.min_distance_m) == (2, 1)


@pytest.mark.parametrize("turn", [0.0, 0.3, 2.0])
@pytest.mark.parametrize("scale", [1e-3, 1.0, 1e5])
@pytest.mark.parametrize("n_corners", [3, 5, 40])
def test_any_convex_floor_is_taken_either_way_round(
    n_corners: int, scale: float, turn: float
) -> None:
    angles = turn + np.sort(np.random.default_rng(5).uniform(0, 6.28, n_corners))
    corners = scale * (np.column_stack([np.cos(angles), np.sin(angles)]) + 7)
    for ordered in (corners, corners[::-1]):
        assert stage_of(floor=ordered.tolist()).floor is not None


@pytest.mark.parametrize(
    ("fields", "line"),
    [
        ({"floor": FLOOR[:2]}, "floor: must have at least 3 values, got 2"),
        ({"floor": [*FLOOR, [1, 2, 3]]}, "floor[4]: must have at most 2 values, got 3"),
        (
            {"floor": [[0, 0], [1, 1], [2, 2]]},
            "floor: has no area, its corners stand in one line",
        ),
        (
            {"floor": [[0, 0], [9, 0], [9, 0], [0, 9]]},
            "floor[2]: is the same corner as floor[1]",
        ),
        (
            {"floor": [[0, 0], [9, 0], [9, 9], [0, 0]]},
            "floor[0]: is the same corner as floor[3]",
        ),
        # A star: every corner turns the same way, twice round.
        (
            {"floor": [[0, 10], [6, -8], [-9.5, 3], [9.5, 3], [-6, -8]]},
            "floor: crosses itself, its corners must go round once",
        ),
        (
            {"floor": [[0, 0], [9, 9], [9, 0], [0, 9]]},
            "floor: crosses itself, its corners must go round once",
        ),
        (
            {"floor": SQUARE, "floor_holes": [[[1, 1], [2, 1], [2, 12]]]},
            "floor_holes[0][2]: is outside the floor",
        ),
        (
            {"floor": SQUARE, "floor_holes": [[[1, 1], [2, 2], [3, 3]]]},
            "floor_holes[0]: has no area, its corners stand in one line",
        ),
        (
            {"floor_holes": [[[1, 1], [2, 1], [2, 2]]]},
            "floor_holes: needs a floor that they are holes of",
        ),
        (
            {"set": {"file": "hall.obj"}},
            "set.file: must end in one of .usd, .usda, .usdc, .usdz, .gltf, .glb, "
            '.parquet, got "hall.obj"',
        ),
        (
            {"set": {"file": "hall.glb", "units": "cm"}},
            "set.units: is only for OpenUSD scenes",
        ),
        (
            {"set": {"file": "hall.parquet", "wild": ["wall"]}},
            "set.wild: is for scenes; it was said when this was baked",
        ),
        (
            {"set": {"file": "a.usda", "thin_m": -1}},
            "set.thin_m: must be >= 0 m, got -1 m",
        ),
        ({"floor": [[0, 0], [9, 0], [0, "9"]]}, "floor[2][1]: must be a number of sc"),
        (
            {"keep_outs": [KIOSK, KIOSK | {"name": "Kiosk"}]},
            'keep_outs[1].name: "Kiosk" is already the name of another keep-out',
        ),
        (
            {"keep_outs": [KIOSK | {"to": [0, 0, 200]}]},
            "keep_outs[0]: from and to must differ along two axes at least",
        ),
        (
            {"keep_outs": [KIOSK | {"sight": "hide"}]},
            'keep_outs[0].sight: must be one of "count", "forbid", got "hide"',
        ),
        ({"keep_outs": [{"name": "k", "from": [0, 0, 0]}]}, "keep_outs[0].to: is requ"),
        (
            {"height_m": [2, 1]},
            "height_m: the highest must be >= the lowest, got 2 to 1 m",
        ),
        ({"height_m": [-1, 1]}, "height_m[0]: must be >= 0 m, got -1 m"),
        ({"straight_m": 0}, "straight_m: must be > 0 m, got 0 m"),
        ({"curve_radius_m": [3, 2, 3]}, "curve_radius_m: 3 m is there twice"),
        ({"min_distance_m": -1}, "min_distance_m: must be >= 0 m, got -1 m"),
        ({"keepouts": []}, 'keepouts: unknown field; did you mean "keep_outs"'),
    ],
)
def test_a_fault_of_a_stage_is_one_sentence(fields: dict[str, Any], line: str) -> None:
    (fault,) = faults_of(**fields)
    assert fault.startswith(f"stage.{line}")


def test_a_floor_may_turn_inward_and_have_holes() -> None:
    bent = [[0, 0], [9, 0], [9, 9], [6, 9], [6, 3], [0, 3]]
    hole = [[7, 1], [8, 1], [8, 2], [7, 2]]
    stage = stage_of(floor=bent, floor_holes=[hole])
    assert stage.floor == tuple(map(tuple, bent))
    assert stage_of(floor=bent[::-1]).floor is not None
    assert stage_of(floor=[[0, 0], [9, 0], [2, 2], [0, 9]]).floor is not None
