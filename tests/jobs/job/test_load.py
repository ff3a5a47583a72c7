"""Job files on disk: both syntaxes, and every way in which a file is no job."""

import json
import os
from pathlib import Path

import pytest
from job_tables import a_job

from carrellata.jobs.errors import InputError, JobError
from carrellata.jobs.job import load
from carrellata.jobs.job.load import load_job, read_tables
from carrellata.jobs.job.parse import parse_job
from carrellata.jobs.job.schema import job_schema

TOML = """
schema = "carrellata.job/1"
sequence = "ferry_dash"
rate = "24000/1001"
world = { up = "z", metres_per_unit = 0.01 }
camera = { film_back = "super35-4perf", lens_kit_mm = [18, 25, 35, 50] }
defaults = { framing = { size = "full" } }
[[shots]]
name = "010"
frames = [1001, 1120]
subjects = [ { name = "courier", file = "c.csv", at = "floor", height_m = 1.72 } ]
rig = { kind = "track", from = [0, 0, 150], to = [500, 0, 150] }
lens_mm = 50
"""


def test_toml_and_json_give_the_same_job(tmp_path: Path) -> None:
    by_hand, by_machine = tmp_path / "job.toml", tmp_path / "job.JSON"
    by_hand.write_text(TOML, encoding="utf-8")
    by_machine.write_text("\ufeff" + json.dumps(a_job()), encoding="utf-8")
    assert load_job(by_hand) == load_job(by_machine) == parse_job(a_job())


@pytest.mark.parametrize(
    ("name", "text", "message"),
    [
        ("job.json", '{"a": 1,\n "b" 2}', "line 2, column 6: expecting ':' delimiter"),
        ("job.json", '{"a": 1, "a": 2}', "the field 'a' is given twice in one table"),
        ("job.json", "[1]", "a job must be a table at the top"),
        ("job.json", "[" * 200_000, "tables and lists are nested too deep"),
        (
            "job.toml",
            "a = 1\nb 2\n",
            "line 2, column 3: expected '=' after a key in a key/value pair",
        ),
        ("job.toml", "a = 1\na = 2\n", "line 2, column 6: cannot overwrite a value"),
        ("job.toml", "a = " + "[" * 20_000, "tables and lists are nested too deep"),
    ],
)
def test_a_syntax_error_says_where_it_is(
    tmp_path: Path, name: str, text: str, message: str
) -> None:
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    with pytest.raises(JobError) as caught:
        load_job(path)
    assert str(caught.value) == f"{path}: {message}"


@pytest.mark.parametrize(
    ("name", "raw", "message"),
    [
        ("job.yaml", b"a: 1", 'must end in ".toml" or ".json", got ".yaml"'),
        ("job.toml", b"", "is empty"),
        ("job.json", b" \n", "is empty"),
        ("job.toml", b"a = 1\nb = '\xff'\n", "is not UTF-8, line 2"),
    ],
)
def test_a_file_that_is_no_job_is_refused(
    tmp_path: Path, name: str, raw: bytes, message: str
) -> None:
    path = tmp_path / name
    path.write_bytes(raw)
    with pytest.raises(InputError) as caught:
        load_job(path)
    assert str(caught.value) == f"{path}: {message}"


def test_a_missing_file_and_a_folder_are_refused(tmp_path: Path) -> None:
    (tmp_path / "folder.toml").mkdir()
    with pytest.raises(InputError, match=r"none\.toml: no such file$"):
        load_job(tmp_path / "none.toml")
    with pytest.raises(InputError, match=r"folder\.toml: is a folder$"):
        load_job(tmp_path / "folder.toml")
    with pytest.raises(InputError, match=r"no such file$"):
        load_job(tmp_path / "a\0b.toml")
    with pytest.raises(InputError, match=r"cannot be read: file name too long$"):
        load_job(tmp_path / ("a" * 300 + ".toml"))


def test_a_pipe_is_refused_without_waiting_for_it(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "job.toml")
    with pytest.raises(InputError, match=r"is not a plain file$"):
        load_job(tmp_path / "job.toml")


def test_a_file_that_cannot_be_opened_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "job.toml"
    path.write_text(TOML, encoding="utf-8")

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(InputError, match=r"cannot be read: permission denied$"):
        load_job(path)


def test_a_file_of_more_than_64_mib_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    with path.open("wb") as file:
        file.truncate(load.MAX_BYTES + 1)
    with pytest.raises(InputError, match=r"is larger than 64 MiB$"):
        load_job(path)


def test_deep_tables_are_refused_before_they_are_walked(tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    path.write_text("a" + ".a" * 3000 + " = 1", encoding="utf-8")
    with pytest.raises(JobError) as caught:
        parse_job(read_tables(path))
    assert str(caught.value) == "tables and lists are nested over 32 deep"


def test_the_schema_knows_every_field_that_a_job_may_have() -> None:
    schema = job_schema()
    tables = schema["$defs"]
    assert json.loads(json.dumps(schema)) == schema
    assert schema["additionalProperties"] is False
    assert a_job().keys() <= schema["properties"].keys()
    assert a_job()["shots"][0].keys() <= tables["ShotSpec"]["properties"].keys()
    assert tables["ShotSpec"]["required"] == ["name", "frames"]
    assert "name" not in tables["InheritedFields"]["properties"]
    assert {"from", "to"} <= tables["TrackRig"]["properties"].keys()
    assert tables["SubjectSpec"]["required"] == ["name", "at", "height_m"]
    lens = tables["ShotSpec"]["properties"]["lens_mm"]
    assert lens["anyOf"][0] == {"const": "choose"}
    assert lens["anyOf"][1]["exclusiveMinimum"] == 0
