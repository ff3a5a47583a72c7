"""Jobs whose setups are open: judged, chosen across cuts, and solved in them."""

import json
import shutil
from pathlib import Path
from typing import Any

import pyarrow.parquet as pq
import pytest
from walks import files_below, save_job, walking_job, walking_shot

from carrellata.jobs.run.local import Outcome, solve_job
from carrellata.jobs.takes.metadata import take_metadata
from carrellata.jobs.takes.sequence_table import read_sequence
from carrellata.jobs.takes.store import Store
from carrellata.jobs.takes.take_file import read_take

FERRY = Path(__file__).resolve().parents[3] / "jobs/examples/ferry_dash"
OPEN: dict[str, Any] = {"rig": {"kind": "choose"}, "lens_mm": "choose"}


def open_shot(name: str, **fields: Any) -> dict[str, Any]:
    return walking_shot(name, **(OPEN | fields))


def setups(outcome: Outcome) -> dict[str, Any]:
    return {row.shot: json.loads(row.setup) for row in outcome.rows}


def solve(folder: Path, *shots: dict[str, Any], **fields: Any) -> Outcome:
    path = save_job(folder, walking_job(*shots, **fields))
    return solve_job(path, folder / "out", workers=1)


def test_an_open_shot_is_solved_in_a_setup_that_its_take_and_row_tell(
    tmp_path: Path,
) -> None:
    outcome = solve(tmp_path, open_shot("010"), open_shot("020", speed=4.0))
    store = Store(folder=outcome.folder)
    assert [row.status for row in outcome.rows] == ["solved", "solved"]
    for row in read_sequence(store.sequence):
        setup = json.loads(row.setup)
        metadata = take_metadata(read_take(store.take(row.shot)))
        assert setup["rig"]["kind"] in ("sticks", "track", "arc")
        assert setup["lens_mm"] in (18, 25, 35, 50)
        assert metadata.setup.plain() == {
            k: v for k, v in setup.items() if k != "label"
        }
        why = json.loads(row.why or "")
        assert why["score"] == pytest.approx(sum(why["parts"].values()), abs=1e-5)
        # Every lens and view from sticks at least; rails that cannot pay are not laid.
        assert why["tried"] >= 4 * 6 - 1
        other = json.loads(row.runner_up or "")
        assert other["setup"] != metadata.setup.plain()
        assert other["costs_more"] >= 0
        # What depends on neighbours stands in the table, never in a take.
        assert '"why"' not in metadata.json()
        assert row.measures["in_frame"] == 1.0


def test_workers_and_shards_make_the_same_bytes(tmp_path: Path) -> None:
    shots = [open_shot(f"{k:02d}0", speed=3.0 + k) for k in range(4)]
    path = save_job(tmp_path, walking_job(*shots))
    calm = solve_job(path, tmp_path / "one", workers=1)
    pooled = solve_job(path, tmp_path / "two", workers=2)
    for k in (1, 2, 3):
        solve_job(path, tmp_path / "shards", shard=(k, 3), workers=1)
    files = files_below(calm.folder)
    assert files == files_below(pooled.folder)
    sharded = files_below(tmp_path / "shards" / "chase")
    takes = [name for name in files if name.startswith(("takes/", "history/0"))]
    assert len(takes) == 2 * len(shots)
    for name in takes:
        assert files[name] == sharded[name], name


def test_what_the_job_fixes_is_never_altered(tmp_path: Path) -> None:
    fixed = walking_shot("010", shake="locked")
    alone = solve(tmp_path / "alone", fixed)
    among = solve(tmp_path / "among", fixed, open_shot("020"), open_shot("030"))
    name = "takes/010.parquet"
    assert files_below(alone.folder)[name] == files_below(among.folder)[name]
    half = solve(tmp_path / "half", walking_shot("010", lens_mm="choose"))
    setup = setups(half)["010"]
    rig = setup["rig"]
    assert (rig["kind"], rig["from"], rig["to"]) == (
        "track",
        [0, 0, 150],
        [500, 0, 150],
    )
    raised = solve(tmp_path / "raised", walking_shot("010", height="choose"))
    assert setups(raised)["010"]["height"] == pytest.approx(0.935 * 170, abs=1.0)
    assert setups(raised)["010"]["lens_mm"] == 25


def test_a_second_night_solves_nothing_again(tmp_path: Path) -> None:
    shots = [open_shot("010"), open_shot("020", speed=4.0)]
    first = solve(tmp_path, *shots)
    judged = {
        path: path.stat().st_mtime_ns
        for path in (first.folder / "candidates").iterdir()
    }
    again = solve(tmp_path, *shots)
    assert len(judged) == 2
    assert all(path.stat().st_mtime_ns == before for path, before in judged.items())
    assert [row.status for row in again.rows] == ["kept", "kept"]
    assert setups(first) == setups(again)
    assert [json.loads(row.why)["kept"] for row in again.rows] == [True, True]


def test_shots_of_one_letter_share_rig_lens_and_height(tmp_path: Path) -> None:
    shots = [
        open_shot("010", setup="A"),
        open_shot("020", speed=2.0, framing={"size": "cowboy"}),
        open_shot("030", speed=6.0, setup="A"),
    ]
    found = setups(solve(tmp_path, *shots))
    for field in ("rig", "lens_mm", "height"):
        assert found["010"][field] == found["030"][field]


def test_shots_of_one_letter_that_no_setup_holds_say_so_and_the_others_go_on(
    tmp_path: Path,
) -> None:
    north = {"stage": {"floor": [[-600, 500], [900, 500], [900, 1500], [-600, 1500]]}}
    south = {"stage": {"floor": [[-600, -900], [900, -900], [900, 300], [-600, 300]]}}
    alone = solve(
        tmp_path / "alone", open_shot("010", **north), open_shot("030", **south)
    )
    assert [row.status for row in alone.rows] == ["solved", "solved"]
    outcome = solve(
        tmp_path / "letter",
        open_shot("010", setup="A", **north),
        open_shot("020"),
        open_shot("030", setup="A", **south),
    )
    assert [row.status for row in outcome.rows] == ["no_setup", "solved", "no_setup"]
    for row in outcome.failed:
        assert row.error is not None


SMALL_FLOOR = {"floor": [[0, 350], [120, 350], [120, 450], [0, 450]]}


@pytest.mark.parametrize(
    ("fields", "named"),
    [
        ({"stage": SMALL_FLOOR}, "a floor larger by"),
        (
            {
                "stage": {
                    "keep_outs": [
                        {
                            "name": "crowd",
                            "from": [-3000, -3000, 0],
                            "to": [3000, 3000, 300],
                        }
                    ]
                }
            },
            'without keep-out "crowd"',
        ),
        (
            {
                "stage": {"floor": [[-100, 0], [400, 0], [400, 800], [-100, 800]]},
                "lens_mm": 50,
            },
            "mm lens in the kit",
        ),
    ],
)
def test_an_impossible_ask_names_what_would_help_and_the_others_go_on(
    tmp_path: Path, fields: dict[str, Any], named: str
) -> None:
    outcome = solve(tmp_path, open_shot("010"), open_shot("020", **fields))
    one, two = outcome.rows
    assert one.status == "solved"
    assert two.status == "no_setup"
    assert two.error is not None
    assert named in two.error
    assert "tightest limit" in two.error
    assert outcome.failed == (two,)
    table = read_sequence(outcome.folder / "sequence.parquet")
    assert [row.status for row in table] == ["solved", "no_setup"]


def test_faulty_data_of_an_open_shot_is_named_and_the_others_go_on(
    tmp_path: Path,
) -> None:
    ghost = {"name": "ghost", "file": "no.csv", "at": "floor", "height_m": 1.7}
    outcome = solve(tmp_path, open_shot("010", subjects=[ghost]), open_shot("020"))
    assert [row.status for row in outcome.rows] == ["failed", "solved"]
    assert "no.csv" in (outcome.rows[0].error or "")


def test_a_rig_that_is_not_allowed_is_not_laid(tmp_path: Path) -> None:
    shot = open_shot("010", rig={"kind": "choose", "kinds": ["track"]})
    found = setups(solve(tmp_path, shot))
    assert found["010"]["rig"]["kind"] == "track"


def test_a_chosen_setup_written_into_the_job_gives_the_same_curves(
    tmp_path: Path,
) -> None:
    kinds = {"kind": "choose", "kinds": ["track", "arc"]}
    outcome = solve(tmp_path / "open", open_shot("010", rig=kinds))
    setup = setups(outcome)["010"]
    fixed = solve(
        tmp_path / "fixed",
        walking_shot("010", rig=setup["rig"], lens_mm=setup["lens_mm"]),
    )
    one, other = (
        pq.read_table(each.folder / "takes/010.parquet") for each in (outcome, fixed)
    )
    for name in ("x", "y", "z", "pan_deg", "tilt_deg", "rail_m", "subject_u"):
        assert one[name].equals(other[name]), name


@pytest.mark.slow
def test_a_small_change_of_one_animation_moves_no_other_shot(tmp_path: Path) -> None:
    shutil.copytree(FERRY, tmp_path / "job")
    job = tmp_path / "job/choose.toml"
    before = solve_job(job, tmp_path / "out", workers=1)
    for shot in ("020", "050", "090", "110"):
        path = tmp_path / f"job/subjects/{shot}_courier.parquet"
        table = pq.read_table(path)
        index = table.schema.get_field_index("x")
        moved = table.set_column(index, table.schema.field("x"), _plus(table["x"], 5.0))
        pq.write_table(moved, path)
        after = solve_job(job, tmp_path / "out", workers=1)
        for name, setup in setups(before).items():
            if name != shot:
                assert setups(after)[name] == setup, (shot, name)
        shutil.copy(FERRY / f"subjects/{shot}_courier.parquet", path)


def _plus(column: Any, amount: float) -> Any:
    import pyarrow as pa
    import pyarrow.compute as pc

    return pc.add(column.cast(pa.float64()), amount).cast(column.type)
