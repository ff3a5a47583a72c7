"""The job of the set's guide solves in the hall of the example."""

import re
import shutil
from pathlib import Path

import pytest
from command_line import run

from carrellata.jobs.examples.ferry_dash import hall
from carrellata.jobs.review.grip_sheet import grip_sheet_of
from carrellata.jobs.takes.metadata import take_metadata
from carrellata.jobs.takes.take_file import read_take

ROOT = Path(__file__).resolve().parents[3]
EXAMPLE = ROOT / "jobs/examples/ferry_dash"

pytest.importorskip("pxr")


def test_the_hall_of_the_example_is_what_its_script_makes(tmp_path: Path) -> None:
    made = hall.write(tmp_path).read_bytes()
    assert made == (EXAMPLE / hall.FILE).read_bytes()
    assert len(made) < 200_000


@pytest.mark.slow
def test_the_job_of_the_guide_solves_and_names_the_wall_that_goes(
    tmp_path: Path,
) -> None:
    text = (ROOT / "jobs/scene/README.md").read_text(encoding="utf-8")
    (job,) = re.findall(r"^```toml\n(.*?)^```", text, re.DOTALL | re.M)
    shutil.copytree(EXAMPLE / "subjects", tmp_path / "subjects")
    hall.write(tmp_path)
    (tmp_path / "job.toml").write_text(job)
    done = run("solve", str(tmp_path / "job.toml"), "-o", str(tmp_path / "out"))
    assert done.code == 0, done.err
    take = read_take(tmp_path / "out/in_the_hall/takes/030.parquet")
    told = take_metadata(take)
    assert "waiting_north" in told.set["taken_out"]
    assert told.measures["rig_through"] is None
    assert told.set["hidden"]["courier"] < 0.25  # pillars pass before her
    assert "waiting" not in str(told.measures["hidden_by"])
    (line,) = [w for w in grip_sheet_of(take)["words"] if w.startswith("Take out")]
    assert "waiting_north" in line
    # With the wall left standing she is hidden, and the take says by what.
    stays = job.replace(', wild = ["waiting_room"]', "")
    scene = (tmp_path / hall.FILE).read_text().replace("carrellata:wild = 1", "x = 1")
    (tmp_path / hall.FILE).write_text(scene)
    (tmp_path / "job.toml").write_text(stays)
    run("solve", str(tmp_path / "job.toml"), "-o", str(tmp_path / "out"))
    told = take_metadata(read_take(tmp_path / "out/in_the_hall/takes/030.parquet"))
    assert "waiting_north" in str(told.measures["hidden_by"])
    assert told.set["hidden"]["courier"] > 0.5
    page = (tmp_path / "out/in_the_hall/review/030.html").read_text()
    assert 'class="wall"' in page
    assert '"set":{"edges":' in page
