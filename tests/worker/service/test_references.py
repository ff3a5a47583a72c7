"""Subjects by reference: from below the project's folder, and from nowhere else."""

import os
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.csv as pc
import pyarrow.parquet as pq
import pytest
from service_process import Reply, Service, running, walk_job, walk_samples

from carrellata.jobs.subjects.confined import faults_of_name

FIELD = "shots[0].subjects[0].file"


def table(n_frames: int = 48) -> pa.Table:
    return pa.table(walk_samples(n_frames))


def file_job(name: Any, **fields: Any) -> dict[str, Any]:
    job = walk_job(**fields)
    del job["shots"][0]["subjects"][0]["samples"]
    job["shots"][0]["subjects"][0]["file"] = name
    return job


def ask(service: Service, name: Any, project: str = "north", **fields: Any) -> Reply:
    return service.ask("POST", "/v1/takes", file_job(name, **fields), project=project)


@pytest.fixture(scope="module")
def root(service: Service) -> Path:
    """The folder of the service, with a walk in it and a secret beside it."""
    folder = service.root
    (folder / "deep").mkdir()
    pq.write_table(table(), folder / "walk.parquet")
    pq.write_table(table(), folder / "deep" / "walk.parquet")
    pc.write_csv(table(), folder / "walk.csv")
    with pa.ipc.new_file(folder / "walk.arrow", table().schema) as writer:
        writer.write_table(table())
    pq.write_table(table(), folder.parent / "outside.parquet")
    (folder / "inside.parquet").symlink_to("deep/walk.parquet")
    (folder / "out.parquet").symlink_to(folder.parent / "outside.parquet")
    (folder / "away").symlink_to(folder.parent)
    (folder / "round.parquet").symlink_to("round.parquet")
    os.mkfifo(folder / "pipe.csv")
    (folder / "folder.csv").mkdir()
    (folder / "notes.txt").write_text("secret notes")
    (folder / "empty.csv").write_text("")
    (folder / "broken.parquet").write_bytes(b"PAR1 this is none PAR1")
    return folder


@pytest.mark.parametrize(
    "name",
    ["walk.parquet", "deep/walk.parquet", "walk.csv", "walk.arrow", "inside.parquet"],
)
def test_files_below_the_folder_are_read(
    service: Service, root: Path, name: str
) -> None:
    reply = ask(service, name)
    assert reply.status == 200, reply.body
    assert reply.json["rows"] == 48


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("../outside.parquet", 'must not go up by ".."'),
        ("deep/../../outside.parquet", 'must not go up by ".."'),
        ("/etc/passwd", "must end in one of"),
        ("/etc/passwd.csv", "must be relative"),
        ("~/walk.csv", "must be relative"),
        ("file:///etc/passwd.csv", "got an address"),
        ("file:walk.csv", "got an address"),
        ("s3://bucket/walk.parquet", "got an address"),
        ("http://127.0.0.1/walk.csv", "got an address"),
        ("C:\\walk.csv", "got an address"),
        ("deep\\walk.csv", "must be printable"),
        ("deep/walk\x00.csv", ""),
        ("walk\n.csv", "must be printable"),
        ("notes.txt", "must end in one of"),
        ("walk.pickle", "must end in one of"),
        ("walk", "must end in one of"),
        (".csv", "must end in one of"),
    ],
)
def test_a_name_that_leads_elsewhere_is_refused_by_its_text(
    service: Service, root: Path, name: str, words: str
) -> None:
    for path in ("/v1/takes", "/v1/batches"):
        reply = service.ask("POST", path, file_job(name))
        assert reply.status == 422
        (fault,) = reply.json["faults"]
        assert fault["path"] == FIELD
        assert words in fault["message"]


def test_scenes_are_never_opened(service: Service, root: Path) -> None:
    (root / "scene.usda").write_text("#usda 1.0")
    job = file_job("scene.usda")
    job["shots"][0]["subjects"][0]["prim"] = "/walker"
    for path in ("/v1/takes", "/v1/batches"):
        reply = service.ask("POST", path, job)
        assert reply.status == 422
        (fault,) = reply.json["faults"]
        assert fault["path"] == FIELD
        assert "must end in one of .parquet, .arrow, .csv, .bvh" in fault["message"]


@pytest.mark.parametrize(
    "name",
    [
        "out.parquet",
        "away/outside.parquet",
        "away/state/secret.csv",
        "round.parquet",
        "pipe.csv",
        "folder.csv",
        "missing.csv",
        "walk.csv/more.csv",
        "x" * 300 + ".csv",
    ],
)
def test_what_is_no_file_below_the_folder_is_refused_alike(
    service: Service, root: Path, name: str
) -> None:
    reply = ask(service, name)
    assert reply.status == 422
    (fault,) = reply.json["faults"]
    assert fault["path"] == FIELD
    # One sentence for all: nobody learns what lies outside.
    assert fault["message"].endswith("is not a file that may be read")
    assert str(root) not in reply.body.decode()


@pytest.mark.parametrize("name", ["empty.csv", "broken.parquet"])
def test_a_file_that_holds_no_table_is_named_without_its_place(
    service: Service, root: Path, name: str
) -> None:
    reply = ask(service, name)
    assert reply.status == 422
    assert name in reply.json["faults"][0]["message"]
    assert str(root) not in reply.body.decode()


def test_a_file_that_changed_is_read_again(service: Service, root: Path) -> None:
    pq.write_table(table(), root / "night.parquet")
    first = ask(service, "night.parquet")
    same = ask(service, "night.parquet")
    changed = table().set_column(3, "z", pa.array(np.full(48, 0.5)))
    pq.write_table(changed, root / "night.parquet")
    second = ask(service, "night.parquet")
    key = "carrellata-take-key"
    assert first.headers[key] == same.headers[key] != second.headers[key]
    assert second.json["columns"]["x"] is not None


def test_a_file_that_claims_to_be_huge_costs_no_memory(
    service: Service, root: Path
) -> None:
    # Run-length coded: 40 million rows in a few kilobytes.
    n_rows = 40_000_000
    frames = pa.DictionaryArray.from_arrays(
        pa.array(np.zeros(n_rows, dtype=np.int8)), pa.array([0], pa.int64())
    )
    zero = pa.DictionaryArray.from_arrays(
        pa.array(np.zeros(n_rows, dtype=np.int8)), pa.array([0.0])
    )
    path = root / "bomb.parquet"
    pq.write_table(
        pa.table({"frame": frames, "x": zero, "y": zero, "z": zero}),
        path,
        compression="zstd",
        store_schema=False,
    )
    assert path.stat().st_size < 1_000_000  # and 1.3 GB once unpacked
    reply = ask(service, "bomb.parquet")
    assert reply.status == 422
    message = reply.json["faults"][0]["message"]
    assert "40000000 rows, limit 1000000" in message


def test_a_tokens_own_limit_on_files_holds(service: Service, root: Path) -> None:
    noise = np.random.default_rng(0).normal(size=20_000)
    columns = {"frame": np.arange(20_000), "x": noise, "y": noise, "z": noise}
    pq.write_table(pa.table(columns), root / "large.parquet")
    reply = ask(service, "large.parquet", project="narrow")
    assert reply.status == 422
    assert "is larger than" in reply.json["faults"][0]["message"]
    # Small on disk, large once unpacked.
    still = {**columns, **{name: np.zeros(20_000) for name in "xyz"}}
    pq.write_table(pa.table(still), root / "packed.parquet", compression="zstd")
    assert (root / "packed.parquet").stat().st_size < 100_000
    reply = ask(service, "packed.parquet", project="narrow")
    assert reply.status == 422
    assert "20000 rows, limit 100" in reply.json["faults"][0]["message"]


def test_a_crews_file_is_not_read(service: Service, root: Path) -> None:
    (root / "crew.toml").write_text("")
    for name in ("crew.toml", "../../../crew.toml", "/etc/crew.toml"):
        for path in ("/v1/takes", "/v1/batches"):
            reply = service.ask("POST", path, walk_job(crew={"preset": name}))
            assert reply.status == 422
            assert "crew.preset" in reply.json["faults"][0]["path"]


def test_every_project_reads_its_own_folder(tmp_path: Path) -> None:
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
    pq.write_table(table(), tmp_path / "one" / "walk.parquet")
    projects = {name: f'root = "{tmp_path / name}"' for name in ("one", "two")}
    with running(tmp_path, projects) as service:
        assert ask(service, "walk.parquet", project="one").status == 200
        assert ask(service, "walk.parquet", project="two").status == 422


def test_without_a_folder_no_file_is_read() -> None:
    (fault,) = faults_of_name(None, "walk.csv", path="shots[0].subjects[0]")
    assert fault.path == FIELD
    assert "only samples in the job are read here" in fault.message


def test_refusing_a_huge_file_leaves_processes_small(service: Service) -> None:
    assert service.process is not None
    sizes = []
    for status in Path("/proc").glob("[0-9]*/status"):
        lines = dict(
            line.split(":", 1)
            for line in status.read_text().splitlines()
            if ":" in line
        )
        if int(lines["NSsid"].split()[0]) == service.process.pid and "VmHWM" in lines:
            sizes.append(int(lines["VmHWM"].split()[0]))
    assert sizes
    assert max(sizes) < 1_000_000  # kB: what the libraries take, and no table of 1 GB
