"""Decisions go into a job to the letter, change the next solve, or are refused."""

import tomllib
from pathlib import Path

import pytest

from carrellata.jobs.decide.notes import read_notes
from carrellata.jobs.decide.write import decide
from carrellata.jobs.errors import InputError, JobError
from carrellata.jobs.examples.ferry_dash.make import FOLDER
from carrellata.jobs.job.load import load_job
from carrellata.worker.cli import main

KEY = "ab" * 32
HEAD = 'schema = "carrellata.notes/1"\nsequence = "ferry_dash"\n'


@pytest.fixture
def job(tmp_path: Path) -> Path:
    path = tmp_path / "job.toml"
    path.write_bytes((FOLDER / "job.toml").read_bytes())
    return path


def noted(folder: Path, *decisions: str) -> Path:
    path = folder / "notes.toml"
    blocks = [f"[[decisions]]\n{one}\n" for one in decisions]
    path.write_text(HEAD + "".join(blocks), encoding="utf-8")
    return path


def lines_changed(before: str, after: str) -> tuple[list[str], list[str]]:
    """Lines that went and lines that came."""
    old, new = before.splitlines(), after.splitlines()
    return (
        [line for line in old if line not in new],
        [line for line in new if line not in old],
    )


def test_all_decisions_stand_in_the_job_and_nothing_else_changed(
    job: Path, tmp_path: Path
) -> None:
    before = job.read_text(encoding="utf-8")
    notes = noted(
        tmp_path,
        f'shot = "010"\ntake_key = "{KEY}"\nlock = true\napprove = true\nby = "ad"',
        'shot = "050"\nlens_mm = 75\nsize = "chest"\nnote = "closer,\\nmuch closer"',
        'shot = "070"\nsize = "medium"',
        'shot = "110"\naccept = [{ finding = "size_not_kept", reason = "the \\"slow\\" '
        'push", by = "ad" }]',
    )
    told = decide(job, read_notes(notes))
    assert told == [
        "010: take locked",
        "010: approved",
        "050: lens 75 mm",
        "050: size chest",
        "050: note",
        "070: size medium",
        "110: accepted: size not kept",
    ]
    went, came = lines_changed(before, job.read_text(encoding="utf-8"))
    assert went == [
        'framing = { size = "cowboy", angle = "below" }',
        'framing = { fill = 0.5, place = [0, 0], angle = "above" }',
    ]
    accepted = 'finding = "size_not_kept", reason = "the \\"slow\\" push", by = "ad"'
    assert came == [
        f'lock = "{KEY}"',
        f"# approved by ad: take {KEY}",
        'framing = { size = "chest", angle = "below" }',
        "# note: closer,",
        "# much closer",
        'framing = { size = "medium", place = [0, 0], angle = "above" }',
        f"accept = [{{ {accepted} }}]",
    ]
    shots = {shot.name: shot for shot in load_job(job).shots}
    assert shots["010"].lock == KEY
    assert shots["050"].lens_mm == 75
    assert shots["070"].framing.size == "medium"
    assert shots["070"].framing.fill is None
    assert shots["110"].accept[0].reason == 'the "slow" push'


def test_an_intent_is_asked_for_by_its_name(job: Path, tmp_path: Path) -> None:
    job.write_text(
        job.read_text(encoding="utf-8") + "\n[intents.threat]\nroll_deg = 4\n",
        encoding="utf-8",
    )
    told = decide(job, read_notes(noted(tmp_path, 'shot = "030"\nintent = "threat"')))
    assert told == ["030: intent threat"]
    shots = {shot.name: shot for shot in load_job(job).shots}
    assert (shots["030"].roll_deg, shots["020"].roll_deg) == (4, 0)
    unknown = noted(tmp_path, 'shot = "030"\nintent = "treat"')
    with pytest.raises(JobError, match="threat"):
        decide(job, read_notes(unknown))


def test_notes_that_stand_already_change_nothing(job: Path, tmp_path: Path) -> None:
    notes = noted(tmp_path, 'shot = "030"\nlens_mm = 50\nnote = "wider was better"')
    assert decide(job, read_notes(notes))
    stamp = job.read_bytes()
    assert decide(job, read_notes(notes)) == []
    assert job.read_bytes() == stamp


FORMS = {
    "nothing": ("", 'framing = { size = "close" }'),
    "dotted": ("framing.headroom = 0.1\n", 'framing.size = "close"'),
    "dotted fill": ("framing.fill = 0.3 # wide\n", 'framing.size = "close" # wide'),
    "empty": ("framing = {}\n", 'framing = { size = "close" }'),
    "inline": (
        "framing = { headroom = 0.1 }\n",
        'framing = { size = "close", headroom = 0.1 }',
    ),
}


@pytest.mark.parametrize("newline", ["\n", "\r\n"])
@pytest.mark.parametrize("form", FORMS)
def test_sizes_are_written_in_the_form_that_the_job_has(
    job: Path, tmp_path: Path, form: str, newline: str
) -> None:
    said, line = FORMS[form]
    text = job.read_text(encoding="utf-8")
    text = text.replace('name = "100"\n', f'name = "100"\n{said}')
    job.write_bytes(text.replace("\n", newline).encode())
    decide(job, read_notes(noted(tmp_path, 'shot = "100"\nsize = "close"')))
    after = job.read_bytes().decode()
    assert line in after.split(newline)
    assert ("\r" in after) == (newline == "\r\n")
    assert "\n\n\n" not in after


def test_tables_with_headers_are_written_into(job: Path, tmp_path: Path) -> None:
    text = job.read_text(encoding="utf-8")
    tables = (
        "\n[shots.framing]\nheadroom = 0.1 # tight\n\n[[shots.accept]]\n"
        'finding = "strobing"\nreason = "fast"\nby = "ad"\n'
    )
    job.write_text(text + tables, encoding="utf-8")
    text = job.read_text(encoding="utf-8").replace(
        'framing = { angle = "below" }\npurpose = "One look', 'purpose = "One look'
    )
    job.write_text(text, encoding="utf-8")
    accept = '[{ finding = "eye_jump", reason = "a, b", by = "ad" }]'
    notes = noted(tmp_path, f'shot = "120"\nsize = "close"\naccept = {accept}')
    decide(job, read_notes(notes))
    after = job.read_text(encoding="utf-8")
    assert after.endswith(
        'headroom = 0.1 # tight\nsize = "close"\n\n[[shots.accept]]\n'
        'finding = "strobing"\nreason = "fast"\nby = "ad"\n\n[[shots.accept]]\n'
        'finding = "eye_jump"\nreason = "a, b"\nby = "ad"\n'
    )


def test_a_lock_is_taken_off(job: Path, tmp_path: Path) -> None:
    before = job.read_bytes()
    lock = noted(tmp_path, f'shot = "020"\ntake_key = "{KEY}"\nlock = true')
    decide(job, read_notes(lock))
    assert job.read_bytes() != before
    decide(job, read_notes(noted(tmp_path, 'shot = "020"\nlock = false')))
    assert job.read_bytes() == before


@pytest.mark.parametrize(
    ("decision", "words"),
    [
        ('shot = "999"\nnote = "x"', "the job has no shot 999"),
        ('shot = "010"\nlens_mm = 45', "shots[0].lens_mm: 45 mm is not in the kit"),
        ('shot = "010"\nlock = true', "needs take_key"),
        (f'shot = "010"\ntake_key = "{KEY}"\nlock = true\nsize = "full"', "keeps its"),
        ('shot = "010"\nsize = "huge"', "decisions[0].size"),
        ('shot = "010"\nlens = 50', "decisions[0].lens"),
    ],
)
def test_what_does_not_fit_is_refused_and_nothing_written(
    job: Path,
    tmp_path: Path,
    decision: str,
    words: str,
    capsys: pytest.CaptureFixture[str],
) -> None:
    before = job.read_bytes()
    assert main(["decide", str(job), str(noted(tmp_path, decision))]) == 2
    assert words in capsys.readouterr().err
    assert job.read_bytes() == before


def test_notes_of_another_sequence_and_jobs_in_json_are_refused(
    job: Path, tmp_path: Path
) -> None:
    notes = noted(tmp_path, 'shot = "010"\nnote = "x"')
    other = notes.read_text(encoding="utf-8").replace("ferry_dash", "other")
    notes.write_text(other, encoding="utf-8")
    with pytest.raises(JobError, match="is other, the job is of ferry_dash"):
        decide(job, read_notes(notes))
    with pytest.raises(InputError, match="only a job in TOML"):
        decide(tmp_path / "job.json", read_notes(notes))


def test_a_list_without_headers_is_refused(job: Path, tmp_path: Path) -> None:
    read = tomllib.loads(job.read_text(encoding="utf-8"))
    head = job.read_text(encoding="utf-8").split("[[shots]]")[0]
    shot = "{ name = '010', frames = [1001, 1002], subjects = [{ name = 'a', "
    shot += "file = 'x.parquet', at = 'floor', height_m = 1.7 }], lens_mm = 25, "
    shot += "rig = { kind = 'sticks', at = [0, 0, 150] } }"
    job.write_text(f"shots = [{shot}]\n{head}", encoding="utf-8")
    assert read["shots"][0]["name"] == "010"
    with pytest.raises(JobError, match=r"must stand under \[\[shots\]\]"):
        decide(job, read_notes(noted(tmp_path, 'shot = "010"\nnote = "x"')))


def test_command_tells_what_was_written(
    job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    notes = noted(tmp_path, 'shot = "090"\nlens_mm = 35')
    assert main(["decide", str(job), str(notes)]) == 0
    assert capsys.readouterr().out == "090: lens 35 mm\n"
    assert main(["decide", str(job), str(notes)]) == 0
    assert "says all of it already" in capsys.readouterr().out
