"""The rows before: those of the last whole solve of each shot."""

from pathlib import Path

from walks import save_job, walking_job, walking_shot

from carrellata.jobs.review.rows import read_rows
from carrellata.jobs.run.local import solve_job
from carrellata.jobs.takes.previous import note_reported, previous_path


def lenses(path: Path) -> dict[str, float]:
    return {row.shot: row.setup["lens_mm"] for row in read_rows(path)}


def job_of(folder: Path, **lens_mm: float) -> Path:
    shots = [walking_shot(name[1:], lens_mm=mm) for name, mm in lens_mm.items()]
    return save_job(folder, walking_job(*shots))


def test_rows_before_are_those_of_the_last_solve_of_each_shot(tmp_path: Path) -> None:
    out = tmp_path / "out"
    solve_job(job_of(tmp_path, _010=25, _020=25), out, workers=1)
    folder = out / "chase"
    assert not previous_path(folder).exists()
    solve_job(job_of(tmp_path, _010=35, _020=35), out, workers=1)
    assert lenses(previous_path(folder)) == {"010": 25, "020": 25}
    solve_job(job_of(tmp_path, _010=50, _020=50), out, shots=["020"], workers=1)
    assert lenses(previous_path(folder)) == {"010": 25, "020": 35}
    # A solve that changes nothing has nothing new to tell.
    solve_job(job_of(tmp_path, _010=50, _020=50), out, workers=1)
    solve_job(job_of(tmp_path, _010=50, _020=50), out, workers=1)
    assert lenses(previous_path(folder)) == {"010": 50, "020": 50}


def test_parts_of_a_run_keep_the_rows_before_it(tmp_path: Path) -> None:
    out = tmp_path / "out"
    solve_job(job_of(tmp_path, _010=25, _020=25), out, workers=1)
    job = job_of(tmp_path, _010=35, _020=35)
    for k in (1, 2):
        solve_job(job, out, shard=(k, 2), workers=1)
    folder = out / "chase"
    assert lenses(previous_path(folder)) == {"010": 25, "020": 25}


def test_a_damaged_file_of_rows_before_is_replaced(tmp_path: Path) -> None:
    out = tmp_path / "out"
    job = job_of(tmp_path, _010=25)
    solve_job(job, out, workers=1)
    previous_path(out / "chase").write_bytes(b"PAR1 no")
    note_reported(out / "chase", ["010"])
    assert lenses(previous_path(out / "chase")) == {"010": 25}
