"""What a service keeps of batches: read when asked for, and not for ever."""

import asyncio
import json
import os
from pathlib import Path

from kept_batches import kept
from typer.testing import CliRunner

from carrellata.worker.cli import app
from carrellata.worker.service.batch_runner import Batches
from carrellata.worker.service.settings import ServiceSettings


def service_of(state: Path) -> ServiceSettings:
    return ServiceSettings(state=state, out=Path("/secret/out"), token="t" * 32)


def started(state: Path, keep_s: float = 1e9) -> Batches:
    """Return the batches of a service that has started, and stopped again."""

    async def run() -> Batches:
        settings = ServiceSettings(
            state=state, out=Path("/secret/out"), token="t" * 32, keep_s=keep_s
        )
        batches = Batches(settings)
        batches.start()
        await asyncio.sleep(0.3)
        await batches.stop()
        return batches

    return asyncio.run(run())


def test_start_reads_nothing_of_what_has_ended(tmp_path: Path) -> None:
    names = kept(tmp_path, 20)
    for name in names:
        for file in ("batch.json", "about.json", "take/0.json"):
            (tmp_path / "batches" / name / file).write_text("{ not read")
    assert started(tmp_path).n_active("north") == 0


def test_rows_come_when_they_are_asked_for_and_name_no_folder(tmp_path: Path) -> None:
    name = kept(tmp_path, 1)[0]
    batches = started(tmp_path)
    batch = batches.find("north", name)
    assert batch is not None
    assert batches.find("south", name) is None
    plain = batch.plain()
    assert (plain["state"], plain["done"], plain["counts"]["failed"]) == ("done", 2, 2)
    assert plain["failed"][0]["error"] == "shots[0]: chase is full"
    assert "/secret" not in json.dumps(plain)


def test_records_past_their_lifetime_go(tmp_path: Path) -> None:
    old, young = kept(tmp_path, 2)
    closed = tmp_path / "batches" / old / "closed.json"
    os.utime(closed, (1.0, 1.0))
    started(tmp_path)
    assert {path.name for path in (tmp_path / "batches").iterdir()} == {young}


def test_records_are_pruned_by_hand(tmp_path: Path) -> None:
    names = kept(tmp_path, 3)
    os.utime(tmp_path / "batches" / names[0] / "closed.json", (1.0, 1.0))
    words = ["prune-records", "--state", str(tmp_path)]
    ended = CliRunner().invoke(app, words)
    assert (ended.exit_code, ended.stdout) == (0, "records of 1 batches removed\n")
    ended = CliRunner().invoke(app, [*words, "--days", "0", "--json"])
    assert sorted(json.loads(ended.stdout)["removed"]) == sorted(names[1:])


def test_records_are_read_by_owner_and_group_only(tmp_path: Path) -> None:
    name = kept(tmp_path, 1)[0]
    assert (tmp_path / "batches" / name).stat().st_mode & 0o007 == 0
