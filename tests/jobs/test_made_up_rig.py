"""A rig that is one file and an entry is solved with like any other.

It has to stand in both registries before the job's tables are made, so each program
here runs in a process of its own.
"""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow.parquet as pq
import pytest
from fresh_process import told
from job_tables import a_job
from sound_job import good_shot, walk, write_table

SOLVE = f"""
import sys
sys.path.insert(0, {str(Path(__file__).parents[1])!r})
import sine_rail
sine_rail.register()
from carrellata.worker.cli import main
code = 0
for job in sys.argv[2:]:
    code |= main(["solve", job, "-o", sys.argv[1], "--workers", "1"])
for shot in ("abreast", "size", "view", "open"):
    main(["solve", sys.argv[3 if shot == "open" else 2], "-o", sys.argv[1],
          "--workers", "1", "--explain", shot])
main(["export", sys.argv[1] + "/fixed", "--to", "csv", "-o", sys.argv[1] + "/csv"])
print("ended", code)
"""
RISE_M = 0.3


@pytest.fixture(scope="module")
def solved(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[str]]:
    folder = tmp_path_factory.mktemp("sine")
    rig = {"kind": "sine", "from": [0, -700, 150], "to": [700, -700, 150], "rise": 30}
    level = {"kind": "track", "from": rig["from"], "to": rig["to"]}
    write_table(folder / "good.parquet", walk())
    fixed = [
        good_shot(name="abreast", rig=rig | {"hold": "abreast"}),
        good_shot(name="size", rig=rig | {"hold": "size"}),
        good_shot(name="level", rig=level | {"hold": "abreast"}),
        good_shot(name="view", rig=rig | {"hold": "view"}, view="profile"),
    ]
    free = good_shot(
        name="open",
        rig={"kind": "choose", "kinds": ["sine"]},
        view="profile",
        side="right",
        lens_mm="choose",
    )
    jobs = {"fixed": a_job(*fixed, sequence="fixed"), "free": a_job(free)}
    jobs["free"]["sequence"] = "free"
    for name, job in jobs.items():
        (folder / f"{name}.json").write_text(json.dumps(job))
    paths = [str(folder / f"{name}.json") for name in jobs]
    return folder, told(SOLVE, folder / "out", *paths)


def take_of(folder: Path, sequence: str, shot: str) -> tuple[Any, dict[str, Any]]:
    table = pq.read_table(folder / "out" / sequence / "takes" / f"{shot}.parquet")
    return table, json.loads(table.schema.metadata[b"carrellata"])


@pytest.mark.parametrize("shot", ["abreast", "size", "view"])
def test_the_lens_follows_the_sine(solved: tuple[Path, list[str]], shot: str) -> None:
    table, metadata = take_of(solved[0], "fixed", shot)
    x, y, z = (table[name].to_numpy() / 100 for name in "xyz")
    assert y == pytest.approx(-7.0, abs=1e-6)
    assert z == pytest.approx(1.5 + RISE_M * np.sin(2 * np.pi * x / 7.0), abs=1e-5)
    rail = table["rail_m"].to_numpy()
    way = np.hypot(np.diff(x), np.diff(z))
    assert way == pytest.approx(np.abs(np.diff(rail)), abs=2e-4)
    assert np.ptp(x) > 3.0
    assert metadata["setup"]["rig"]["rise"] == 30.0


def test_seen_from_above_the_dolly_goes_as_on_track(
    solved: tuple[Path, list[str]],
) -> None:
    sine, _ = take_of(solved[0], "fixed", "abreast")
    level, _ = take_of(solved[0], "fixed", "level")
    # Who is followed gets ahead of both; at most a reaction of the grip, 0.2 s at the
    # 1.5 m/s that he goes at most, lies between them.
    apart = sine["x"].to_numpy() - level["x"].to_numpy()
    assert np.abs(apart).max() < 30.0
    assert sine["rail_speed"].to_numpy().max() == pytest.approx(1.5, abs=1e-3)


def test_it_is_laid_where_a_setup_is_open(solved: tuple[Path, list[str]]) -> None:
    table, metadata = take_of(solved[0], "free", "open")
    rig = metadata["setup"]["rig"]
    assert rig["kind"] == "sine"
    start, end = np.array(rig["from"]), np.array(rig["to"])
    along = (end - start)[:2] / np.hypot(*(end - start)[:2])
    place = np.column_stack([table[name].to_numpy() for name in "xyz"]) - start
    share = place[:, :2] @ along / np.hypot(*(end - start)[:2])
    wave = rig["rise"] * np.sin(2 * np.pi * share)
    assert place[:, 2] == pytest.approx(wave, abs=0.01)
    assert table["in_frame"].to_numpy().mean() > 0.98


def test_it_is_told_in_its_own_words(solved: tuple[Path, list[str]]) -> None:
    folder, lines = solved
    assert lines[-1] == "ended 0"
    told_of = [line for line in lines if "sine rail from (0, -700, 150)" in line]
    assert len(told_of) == 3
    page = (folder / "out" / "fixed" / "review" / "size.html").read_text()
    assert "on a sine rail" in page
    assert len(list((folder / "out" / "csv").glob("*.csv"))) >= 1
