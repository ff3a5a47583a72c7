"""The hall of the example: what its walls do to three shots, with them and without."""

from dataclasses import replace

import numpy as np
import pytest

from carrellata.jobs.examples.ferry_dash import in_hall
from carrellata.jobs.examples.ferry_dash.in_hall import CAMERA_M, HallCheck, hall_check
from carrellata.jobs.library.results import TakeResult

pytest.importorskip("pxr")

SHOTS = ["010", "020", "040"]
Takes = dict[str, TakeResult]


@pytest.fixture(scope="module")
def with_set() -> Takes:
    return in_hall.takes(with_set=True)


@pytest.fixture(scope="module")
def without_set() -> Takes:
    return in_hall.takes(with_set=False)


@pytest.mark.slow
def test_with_its_set_no_camera_stands_in_a_wall_and_nobody_is_hidden(
    with_set: Takes,
) -> None:
    assert list(with_set) == SHOTS
    for name, take in with_set.items():
        found = hall_check(take)
        assert found.clearance_m >= CAMERA_M, name
        assert set(found.hidden.values()) == {0.0}, name
        assert found.is_clear
        assert not found.hiders
        # No claim of the job asks that anybody be hidden, and the take says likewise.
        assert set(take.about["set"]["hidden"].values()) == {0.0}
        assert take.measures.rig_through is None
        assert take.measures.rig_step_m is None
        sheet = take.about["grip_sheet"]
        laid = np.linspace(*np.array(sheet["ends_m"]), 50)
        assert in_hall.nearest_of(laid)[1] >= CAMERA_M, name


@pytest.mark.slow
def test_without_its_set_a_shot_breaks_what_the_set_forbids(
    without_set: Takes, with_set: Takes
) -> None:
    broken = {
        name: found
        for name, take in without_set.items()
        if not (found := hall_check(take)).is_clear
    }
    assert broken
    for name, found in broken.items():
        assert found.stands_in or found.hiders
        assert without_set[name].setup != with_set[name].setup
    assert all("set" not in take.about for take in without_set.values())


@pytest.mark.slow
def test_the_check_finds_a_camera_that_is_put_into_a_wall(with_set: Takes) -> None:
    take = with_set["020"]
    table = take.table
    for place, solid, stands_in in (
        ((2900.0, 0.0, 160.0), "kiosk", True),
        ((900.0, -330.0, 160.0), "pillar1", True),
        ((900.0, -250.0, 160.0), "pillar1", False),
    ):
        moved = table
        for name, value in zip(("cam_x", "cam_y", "cam_z"), place, strict=True):
            column = moved.column_names.index(name)
            cells = np.full(len(moved), value)
            moved = moved.set_column(column, moved.schema.field(name), [cells])
        found = hall_check(replace(take, table=moved))
        assert (found.nearest, found.stands_in) == (solid, stands_in)


@pytest.mark.slow
def test_a_command_prints_what_was_found(
    with_set: Takes, without_set: Takes, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept = {True: with_set, False: without_set}
    monkeypatch.setattr(in_hall, "takes", lambda *, with_set: kept[with_set])
    head, *rows = in_hall.report()
    assert head.split() == [
        "shot",
        "set",
        "setup",
        "nearest",
        "solid",
        "points",
        "hidden",
    ]
    assert [row.split()[:2] for row in rows] == [
        [name, kind] for kind in ("with", "without") for name in SHOTS
    ]
    clear = HallCheck(nearest="kiosk", clearance_m=1.0, hidden={"a": 0.0}, hiders=())
    assert clear.is_clear
    assert not replace(clear, hidden={"a": 0.1}).is_clear
    assert not replace(clear, clearance_m=0.0).is_clear
