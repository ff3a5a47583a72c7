"""Two solves compared: what changed, by how much, and what is new."""

import json
from pathlib import Path

import numpy as np
import pytest
from walks import save_job, walking_job, walking_shot

from carrellata.jobs.errors import InputError
from carrellata.jobs.review.compare import (
    compare,
    difference_lines,
    side_before,
    side_of,
)
from carrellata.jobs.run.local import solve_job
from carrellata.jobs.takes.take_file import read_take
from carrellata.worker.cli import main


def solved(folder: Path, *shots: dict[str, object]) -> Path:
    folder.mkdir(exist_ok=True)
    job = save_job(folder, walking_job(*shots))
    return solve_job(job, folder / "out", workers=1).folder


@pytest.fixture(scope="module")
def nights(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """Last night and tonight: 010 the same, 020 changed, 030 gone, 040 new."""
    folder = tmp_path_factory.mktemp("nights")
    near = {"kind": "sticks", "at": [170, -100, 150]}
    across = {"kind": "sticks", "at": [170, 900, 150]}
    first = walking_shot("010", rig=near)
    before = (first, walking_shot("020", rig=near), walking_shot("030"))
    after = (first, walking_shot("020", rig=across), walking_shot("040"))
    return solved(folder / "last", *before), solved(folder / "tonight", *after)


def test_each_shot_is_same_changed_added_or_removed(
    nights: tuple[Path, Path],
) -> None:
    found = {one.shot: one for one in compare(*map(side_of, nights))}
    kinds = {shot: one.kind for shot, one in found.items()}
    assert kinds == {
        "010": "same",
        "020": "changed",
        "030": "removed",
        "040": "added",
    }
    assert found["010"].camera_m == 0
    assert found["020"].setup == ("sticks moved",)
    assert "crosses_line" in [one.name for one in found["020"].new]


def test_amounts_are_the_most_that_the_takes_differ(nights: tuple[Path, Path]) -> None:
    found = {one.shot: one for one in compare(*map(side_of, nights))}["020"]
    one, two = (read_take(folder / "takes" / "020.parquet") for folder in nights)
    assert found.camera_m == pytest.approx(10.0)
    turns = one["pan_deg"].to_numpy() - two["pan_deg"].to_numpy()
    turns = np.abs(np.angle(np.exp(1j * np.radians(turns)), deg=True))
    assert turns.max() > 90
    assert found.pan_deg == pytest.approx(turns.max())


def test_lines_name_what_is_new_and_count(nights: tuple[Path, Path]) -> None:
    lines = list(difference_lines(compare(*map(side_of, nights))))
    (k,) = (k for k, line in enumerate(lines) if line.startswith("020"))
    assert lines[k].startswith("020  changed  sticks moved; up to: lens 10.00 m")
    assert lines[k + 1].strip().startswith("new fault: The camera crosses the line")
    assert [line for line in lines if line.startswith("030  removed")]
    assert not [line for line in lines if line.startswith("010")]
    assert lines[-1] == "1 changed, 1 added, 1 removed, 1 same"


def test_a_folder_is_compared_with_its_solve_before(tmp_path: Path) -> None:
    folder = solved(tmp_path, walking_shot("010"))
    with pytest.raises(InputError, match="was solved only once"):
        side_before(side_of(folder))
    solved(tmp_path, walking_shot("010", lens_mm=35))
    now = side_of(tmp_path / "out")
    (found,) = compare(side_before(now), now)
    assert found.setup == ("lens 25 mm \u2192 35 mm",)
    assert found.measures
    assert found.pan_deg is not None


def test_command_prints_json_and_writes_a_page(
    nights: tuple[Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    page = tmp_path / "compared.html"
    assert main(["compare", *map(str, nights), "--json", "--page", str(page)]) == 0
    told = json.loads(capsys.readouterr().out)
    assert [one["kind"] for one in told["shots"]].count("changed") == 1
    assert "crosses the line" in page.read_text(encoding="utf-8")


def test_folder_without_a_sequence_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["compare", str(tmp_path), str(tmp_path)]) == 2
    assert "holds no sequence.parquet" in capsys.readouterr().err
