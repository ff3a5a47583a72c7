"""The next best setup is solved as the chosen one is, and nothing of it is written."""

import json
from pathlib import Path

from walks import save_job, walking_job, walking_shot

from carrellata.jobs.review.runner_up_page import runner_up_lines, runner_up_page
from carrellata.jobs.review.words import setup_changes
from carrellata.jobs.run.local import solve_job
from carrellata.jobs.run.runner_ups import runner_up_takes
from carrellata.jobs.takes.metadata import take_metadata
from carrellata.jobs.takes.runner_up import RunnerUp
from carrellata.jobs.takes.store import Store


def test_runners_up_are_solved_and_told_beside_the_chosen_setups(
    tmp_path: Path,
) -> None:
    camera = {"film_back": "super35-4perf", "lens_kit_mm": [18, 25, 35, 50]}
    kept = {"kind": "sticks", "at": [170, -300, 150]}
    shots = (
        walking_shot("010", rig={"kind": "choose"}, lens_mm="choose"),
        walking_shot("020", rig=kept, lens_mm=25),
    )
    job = save_job(tmp_path, walking_job(*shots, camera=camera))
    outcome = solve_job(job, tmp_path / "out", workers=1)
    row = outcome.rows[0]
    assert row.runner_up is not None
    other = RunnerUp.from_plain(json.loads(row.runner_up))
    before = sorted(path for path in tmp_path.rglob("*") if path.is_file())
    (take,) = runner_up_takes(job, Store(folder=outcome.folder))
    assert sorted(path for path in tmp_path.rglob("*") if path.is_file()) == before
    assert take.shot == "010"
    assert take_metadata(take.table).setup == other.setup
    assert take_metadata(take.chosen).setup != other.setup
    assert take.table.num_rows == take.chosen.num_rows
    page = runner_up_page([take], label="takes")
    assert "1 shot has a runner-up." in page
    first, second, *_ = runner_up_lines([take])
    chosen = take_metadata(take.chosen).setup
    assert first == f"010  Setup: {', '.join(setup_changes(chosen, other.setup))}."
    assert f"costs {other.score:.2f} points" in second
