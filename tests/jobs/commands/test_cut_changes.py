"""A new cut against an old one, and the job that goes on with it."""

import json
import tomllib
from pathlib import Path
from typing import Any

import opentimelineio as otio
import pytest
from command_line import run
from timelines import clip, gap, track

from carrellata.jobs.commands.cut_changes import job_toml
from carrellata.jobs.job.load import load_job

MEDIA = (1001, 200)
KEY = "a" * 64


def timeline(path: Path, *clips: Any) -> Path:
    made = otio.schema.Timeline("night")
    made.tracks.append(track(*clips))
    otio.adapters.write_to_file(made, str(path))
    return path


@pytest.fixture
def old(tmp_path: Path) -> Path:
    return timeline(
        tmp_path / "old.otio",
        clip("010", 1020, 48, media=MEDIA),
        clip("020", 1020, 48, media=MEDIA),
        clip("030", 1020, 48, media=MEDIA),
        clip("040", 1020, 48, media=MEDIA),
        clip("050", 1020, 48, media=MEDIA),
    )


@pytest.fixture
def new(tmp_path: Path) -> Path:
    slow = clip("030", 1020, 48, media=MEDIA)
    slow.effects.append(otio.schema.LinearTimeWarp(time_scalar=0.5))
    return timeline(
        tmp_path / "new.otio",
        clip("010", 1020, 48, media=MEDIA),
        gap(10),
        clip("020", 1020, 48, media=MEDIA),
        slow,
        clip("040", 1024, 50, media=MEDIA),
        clip("060", 1020, 24, media=MEDIA),
    )


def test_every_kind_of_change_is_told(old: Path, new: Path) -> None:
    done = run("cut", new, "--against", old)
    assert done.code == 0
    assert done.out.splitlines() == [
        "010: same",
        "020: moved by +10 frames in the cut",
        "030: retimed to 0.5 of its speed, was 1",
        "040: shifted, in +4, out +6 frames",
        "060: new",
        "050: gone",
    ]
    told = json.loads(run("cut", new, "--against", old, "--json").out)
    assert [one["change"] for one in told["shots"]] == [
        *("same", "moved", "retimed", "shifted", "new")
    ]
    assert told["gone"] == ["050"]
    assert told["shots"][2]["frames"] == [1020, 1043]


def test_a_clip_is_known_by_its_media_whatever_it_is_called(
    old: Path, tmp_path: Path
) -> None:
    named = clip("020", 1020, 48, media=MEDIA)
    named.name = "020_alt"
    done = run("cut", timeline(tmp_path / "n.otio", named), "--against", old)
    assert (
        done.out.splitlines()[0] == "020_alt: moved by -48 frames in the cut (was 020)"
    )


def test_of_several_from_one_media_the_frames_tell(tmp_path: Path) -> None:
    early, late = clip("010", 1010, 24, media=MEDIA), clip("010", 1100, 24, media=MEDIA)
    old = timeline(tmp_path / "o.otio", early, late)
    new = timeline(
        tmp_path / "n.otio",
        clip("010", 1102, 24, media=MEDIA),
        clip("010", 1012, 24, media=MEDIA),
    )
    assert run("cut", new, "--against", old).out.splitlines() == [
        "010: shifted, in +2, out +2 frames (was 010_2)",
        "010_2: shifted, in +2, out +2 frames (was 010)",
    ]


def job_of(path: Path) -> Path:
    subject = {"name": "w", "file": "w.csv", "at": "floor", "height_m": 1.7}
    shots = [
        {
            "name": name,
            "frames": [1020, 1067],
            "handles": 8,
            "lens_mm": 35,
            "purpose": f"of {name}",
            "lock": KEY,
        }
        for name in ("010", "020", "030", "040", "050")
    ]
    tables: dict[str, Any] = {
        "schema": "carrellata.job/1",
        "sequence": "night",
        "rate": "24",
        "world": {"up": "y", "metres_per_unit": 1.0},
        "camera": {"film_back": "super35-4perf", "lens_kit_mm": [35.0]},
        "defaults": {
            "subjects": [subject],
            "framing": {"size": "full"},
            "rig": {"kind": "sticks", "at": [0, 1.5, 8]},
            "lens_mm": 35,
        },
        "shots": shots,
    }
    path.write_text(job_toml(tables))
    assert len(load_job(path).shots) == 5
    return path


def test_locks_and_decisions_go_on_with_their_shots(
    old: Path, new: Path, tmp_path: Path
) -> None:
    job, out = job_of(tmp_path / "job.toml"), tmp_path / "next.toml"
    done = run("cut", new, "--against", old, "--job", job, "-o", out)
    assert done.code == 0
    assert "040: its lock is left out, it lacks frames" in done.err
    assert "030 is retimed" in done.err
    shots = {one["name"]: one for one in tomllib.loads(out.read_text())["shots"]}
    assert list(shots) == ["010", "020", "030", "040", "060"]
    assert shots["010"]["lock"] == shots["020"]["lock"] == KEY
    assert "lock" not in shots["040"]
    assert shots["040"]["purpose"] == "of 040"
    assert shots["040"]["frames"] == [1024, 1073]
    assert "purpose" not in shots["060"]
    assert len(load_job(out).shots) == 5


def test_a_job_without_an_old_cut_is_refused(new: Path, tmp_path: Path) -> None:
    done = run("cut", new, "--job", tmp_path / "job.toml")
    assert done.code == 2
    assert "--against" in done.err
    assert run("cut", new).code == 2  # a retimed clip, as ever
