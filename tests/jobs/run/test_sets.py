"""A shot in a set: what it is read as, and what comes of it."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from command_line import run
from job_tables import a_job, a_shot
from scene_files import ROOM, write_gltf, write_room

from carrellata.jobs.errors import ShotDataError
from carrellata.jobs.job.parse import parse_job
from carrellata.jobs.run.shots import Prepared, prepare
from carrellata.jobs.subjects.confined import ConfinedReader
from carrellata.jobs.takes.keys import judge_key
from carrellata.jobs.takes.metadata import take_metadata
from carrellata.jobs.takes.take_file import read_take
from carrellata.solver.measures.measure import measure
from carrellata.solver.take import operate

FRAMES = list(range(1, 49))


def _job(*, x: tuple[float, float] = (-2.0, 2.0), z: float = -2.0, **stage: Any) -> Any:
    """Return a job of one shot: somebody walks along x, the lens is at z = 4."""
    samples = {
        "frame": FRAMES,
        "x": np.linspace(*x, len(FRAMES)).tolist(),
        "y": [0.0] * len(FRAMES),
        "z": [z] * len(FRAMES),
    }
    subject = {"name": "ann", "samples": samples, "at": "floor", "height_m": 1.7}
    shot = a_shot(
        frames=[1, 48],
        subjects=[subject],
        rig={"kind": "sticks", "at": [0.0, 1.5, 4.0]},
    )
    world = {"up": "y", "metres_per_unit": 1.0}
    return a_job(shots=[shot], world=world, stage=stage)


def _prepared(folder: Path, read: Any = None, **fields: Any) -> Prepared:
    job = parse_job(_job(**fields))
    how = {} if read is None else {"read": read}
    return prepare(job, job.shots[0], folder, **how)


def test_a_pillar_before_somebody_is_what_hides_them(tmp_path: Path) -> None:
    write_gltf(tmp_path / "room.gltf", ROOM)
    prepared = _prepared(tmp_path, set={"file": "room.gltf"})
    take = operate(prepared.shot)
    # The pillar's edge at x = 0.3, z = 0.3 throws its shadow to 0.3 * 6 / 3.7 at her.
    behind = np.abs(np.linspace(-2.0, 2.0, 48)) < 0.3 * 6 / 3.7
    named = [name == "pillar" for name in take.hidden_by]
    assert named == behind.tolist()
    measures = measure(take)
    assert measures["hidden"] == pytest.approx(behind.mean())
    assert measures["hidden_by"] == "pillar"
    assert measures["rig_through"] is None
    assert measures["sight_forbidden"] is None
    assert np.isnan(take.u[behind]).all()
    assert not np.isnan(take.u[~behind]).any()


def test_the_same_shot_without_a_set_is_what_it_was(tmp_path: Path) -> None:
    write_gltf(tmp_path / "far.gltf", {"far": ((20, 0, -30), (21, 3, -29))})
    bare = operate(_prepared(tmp_path).shot)
    far = operate(_prepared(tmp_path, set={"file": "far.gltf"}).shot)
    assert bare.sighted is None
    assert far.sighted is not None
    for name in ("base", "pan", "tilt", "u", "v", "size", "focus_m", "hider"):
        assert getattr(bare, name).tobytes() == getattr(far, name).tobytes()


def test_the_key_of_a_shot_is_of_its_set_and_not_of_where_that_lies(
    tmp_path: Path,
) -> None:
    def key(file: str, **fields: Any) -> str:
        job = parse_job(_job(set={"file": file, **fields}))
        prepared = prepare(job, job.shots[0], tmp_path)
        return judge_key(job, job.shots[0], prepared.inputs)

    write_gltf(tmp_path / "room.gltf", ROOM)
    write_gltf(tmp_path / "other.gltf", ROOM)
    write_gltf(tmp_path / "less.gltf", {"north": ROOM["north"]})
    done = run(
        "bake-set", str(tmp_path / "room.gltf"), "-o", str(tmp_path / "r.parquet")
    )
    assert done.code == 0
    assert key("room.gltf") == key("other.gltf") == key("r.parquet")
    assert key("room.gltf") != key("less.gltf")
    assert key("room.gltf") != key("room.gltf", wild=["north"])


def test_who_is_walled_in_stands_in_a_room(tmp_path: Path) -> None:
    write_gltf(tmp_path / "hall.gltf", {"hall": ((-9, -0.1, -9), (9, 4, 9))})
    mesh = _prepared(tmp_path, set={"file": "hall.gltf"}).shot.stage.set
    assert mesh is not None
    assert mesh.hollow.tolist() == [True]


def test_a_set_that_nobody_is_near_is_refused(tmp_path: Path) -> None:
    write_gltf(tmp_path / "room.gltf", ROOM)
    with pytest.raises(ShotDataError) as refused:
        _prepared(tmp_path, x=(500.0, 502.0), set={"file": "room.gltf"})
    assert str(refused.value) == (
        "shot 010: shots[0].stage.set.file: nobody comes nearer than 494 m to the set "
        "of 12 x 10.2 x 3.2 m: check its units and its origin"
    )


def test_a_missing_set_is_a_fault_of_the_shot(tmp_path: Path) -> None:
    with pytest.raises(ShotDataError, match=r"'room\.gltf' is not a file"):
        _prepared(tmp_path, set={"file": "room.gltf"})


def test_who_may_only_read_files_opens_no_scene(tmp_path: Path) -> None:
    write_gltf(tmp_path / "room.gltf", ROOM)
    reader = ConfinedReader(root=tmp_path, max_bytes=10**6, max_rows=10**4)
    with pytest.raises(ShotDataError, match="is a scene, which is not opened here"):
        _prepared(tmp_path, reader, set={"file": "room.gltf"})
    baked = tmp_path / "room.parquet"
    out = run("bake-set", str(tmp_path / "room.gltf"), "-o", str(baked), "--json")
    told = json.loads(out.out)
    assert (told["parts"], told["triangles"]) == (3, 36)
    prepared = _prepared(Path("/dev/null"), reader, set={"file": "room.parquet"})
    assert prepared.shot.stage.set is not None
    assert prepared.inputs["stage.set"] == told["digest"]
    with pytest.raises(ShotDataError, match="must not go up"):
        _prepared(tmp_path, reader, set={"file": "../room.parquet"})


def test_a_run_bakes_a_scene_once_and_a_baked_file_solves_to_the_same_take(
    tmp_path: Path,
) -> None:
    write_gltf(tmp_path / "room.gltf", ROOM)
    for name, file in (("a", "room.gltf"), ("b", "baked.parquet")):
        job = _job(set={"file": file})
        (tmp_path / f"{name}.json").write_text(json.dumps(job))
    assert run("bake-set", str(tmp_path / "room.gltf"), "-o",
               str(tmp_path / "baked.parquet")).code == 0  # fmt: skip
    for name in "ab":
        job_file = str(tmp_path / f"{name}.json")
        assert run("solve", job_file, "-o", str(tmp_path / name)).code == 0
    (sequence,) = (tmp_path / "a").iterdir()
    assert [p.suffix for p in (sequence / "sets").iterdir()] == [".parquet"]
    takes = [p for n in "ab" for p in (tmp_path / n).glob("*/history/*/*.parquet")]
    assert len({p.name for p in takes}) == 1


def test_a_set_that_is_broken_fails_its_shot_and_bakes_nothing(tmp_path: Path) -> None:
    (tmp_path / "room.gltf").write_text("{")
    (tmp_path / "job.json").write_text(json.dumps(_job(set={"file": "room.gltf"})))
    done = run("solve", str(tmp_path / "job.json"), "-o", str(tmp_path / "out"))
    assert done.code == 1
    assert "'room.gltf' is not a sound glTF 2.0 file" in done.out + done.err
    assert not list((tmp_path / "out").glob("*/sets"))


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--prim", "/World/sett"], "did you mean '/World/set'"),
        (["--prim", "/World/empty"], "has no triangle that is seen"),
        (["--wild", "south"], "has no part 'south' in its set"),
        (["--units", "mm"], "is 0.012 m across, a set has 0.5 to 5000 m"),
        (["--units", "yd"], "units"),
    ],
)
def test_a_scene_that_cannot_be_baked_leaves_no_file_and_what_was_there(
    tmp_path: Path, words: list[str], said: str
) -> None:
    pytest.importorskip("pxr")
    scene = write_room(tmp_path / "room.usda", metres=None)
    text = scene.read_text()
    scene.write_text(text.replace('def Xform "World"\n{', EMPTY, 1))
    out, there = tmp_path / "new.parquet", tmp_path / "old.parquet"
    usual = [] if "--units" in words else ["--units", "m"]
    assert run("bake-set", str(scene), "-o", str(there), "--units", "m").code == 0
    data = there.read_bytes()
    for place in (out, there):
        done = run("bake-set", str(scene), "-o", str(place), *words, *usual)
        assert done.code == 2
        assert said in done.err
    assert there.read_bytes() == data
    assert {path.name for path in tmp_path.iterdir()} == {"room.usda", "old.parquet"}


def test_a_shot_whose_set_is_broken_fails_and_the_others_are_solved(
    tmp_path: Path,
) -> None:
    write_gltf(tmp_path / "room.gltf", ROOM)
    write_gltf(tmp_path / "dust.gltf", {"dust": ((0, 0, 0), (0.01, 0.01, 0.01))})
    job = _job(set={"file": "room.gltf"})
    (shot,) = job["shots"]
    job["shots"].append(
        {**shot, "name": "020", "stage": {"set": {"file": "dust.gltf"}}}
    )
    (tmp_path / "job.json").write_text(json.dumps(job))
    done = run(
        "solve", str(tmp_path / "job.json"), "-o", str(tmp_path / "out"), "--json"
    )
    assert done.code == 1
    good, bad = json.loads(done.out)["shots"]
    assert (good["status"], bad["status"]) == ("solved", "failed")
    assert "'dust.gltf' is 0.01" in bad["error"]
    (sequence,) = (tmp_path / "out").iterdir()
    assert [path.name for path in (sequence / "takes").iterdir()] == ["010.parquet"]
    assert len(list((sequence / "sets").iterdir())) == 1


EMPTY = """def Xform "World"
{
    def Mesh "empty"
    {
    }
"""


def _corridor(folder: Path, **fields: Any) -> str:
    """Write a job in a corridor 2.4 m wide, too narrow for a figure from the side."""
    boxes = {
        "north": ((-9, 0, -1.3), (9, 3, -1.2)),
        "south": ((-9, 0, 1.2), (9, 3, 1.3)),
    }
    write_gltf(folder / "corridor.gltf", boxes)
    job = _job(z=0.0, set={"file": "corridor.gltf"} | fields)
    job["shots"][0] |= {
        "rig": {"kind": "choose", "kinds": ["sticks"]},
        "view": "profile",
        "sight": "forbid",
    }
    (folder / "job.json").write_text(json.dumps(job))
    return str(folder / "job.json")


@pytest.mark.slow
def test_a_shot_without_a_setup_names_the_wall_and_a_wild_one_is_taken_out(
    tmp_path: Path,
) -> None:
    job = _corridor(tmp_path)
    done = run("solve", job, "-o", str(tmp_path / "out"), "--json")
    (row,) = json.loads(done.out)["shots"]
    assert row["status"] == "no_setup"
    assert 'the rig stands in "' in row["error"] or "hides who is" in row["error"]
    assert '"north" taken out of the set' in row["error"]
    assert '"south" taken out of the set' in row["error"]
    job = _corridor(tmp_path, wild=["north"])
    done = run("solve", job, "-o", str(tmp_path / "out"))
    assert done.code == 0
    (take,) = (tmp_path / "out").glob("*/takes/*.parquet")
    told = take_metadata(read_take(take))
    assert told.set["taken_out"] == ["north"]
    assert told.grip_sheet["taken_out"] == ["north"]
    assert told.measures["rig_through"] is None
    assert told.set["hidden"] == {"ann": 0.0}
    lens = take_metadata(read_take(take)).setup.rig
    assert lens.at[2] < -1.2  # it stands where the wall was, or beyond
