"""Jobs solved from Python: same bytes as elsewhere, nothing left behind."""

import gc
import json
import os
import threading
from pathlib import Path
from typing import Any

import command_line
import numpy as np
import pyarrow as pa
import pytest
from library_jobs import FIRST, N_FRAMES, columns, one_shot, way

import carrellata
from carrellata.worker.service.limits import Limits
from carrellata.worker.service.rules import Rules
from carrellata.worker.service.solving import SolvedTake, solve_take

PARQUET = "application/vnd.apache.parquet"


@pytest.fixture(scope="module")
def plain_take() -> carrellata.TakeResult:
    return carrellata.solve_shot(one_shot(columns()))


class Stream:
    """A data frame of a library that only speaks Arrow's stream."""

    def __init__(self, table: pa.Table) -> None:
        self._table = table

    def __arrow_c_stream__(self, requested: object = None) -> object:
        return self._table.__arrow_c_stream__(requested)


class Frame:
    """A data frame that only has columns by name."""

    def __init__(self, held: dict[str, Any]) -> None:
        self._held = held
        self.columns = list(held)

    def __getitem__(self, name: str) -> Any:
        return self._held[name]


FORMS = {
    "arrays": lambda: {name: np.array(one) for name, one in columns().items()},
    "points": lambda: carrellata.samples(way(), first_frame=FIRST),
    "arrow": lambda: pa.table(columns()),
    "batch": lambda: pa.RecordBatch.from_pydict(columns()),
    "stream": lambda: Stream(pa.table(columns())),
    "frame": lambda: Frame({name: np.array(one) for name, one in columns().items()}),
}


@pytest.mark.parametrize("form", FORMS)
def test_samples_in_any_form_give_the_bytes_of_lists(
    form: str, plain_take: carrellata.TakeResult
) -> None:
    take = carrellata.solve_shot(one_shot(FORMS[form]()))
    assert take.to_parquet() == plain_take.to_parquet()


def test_columns_of_one_piece_are_not_copied() -> None:
    from carrellata.jobs.library.given import table_of

    x = np.arange(5.0)
    given = {"frame": np.arange(5), "x": x, "y": np.zeros(5), "z": np.zeros(5)}
    held = table_of(given)["x"].chunk(0).buffers()[1]
    assert held.address == x.ctypes.data


def test_the_command_writes_the_same_bytes(
    tmp_path: Path, plain_take: carrellata.TakeResult
) -> None:
    file = tmp_path / "job.json"
    file.write_text(json.dumps(one_shot(columns())))
    assert command_line.run("solve", file, "-o", tmp_path / "takes").code == 0
    written = tmp_path / "takes/first/takes/010.parquet"
    assert written.read_bytes() == plain_take.to_parquet()
    assert carrellata.solve_shot(file).to_parquet() == written.read_bytes()
    assert carrellata.read_take(written).take_key == plain_take.take_key


def test_the_service_answers_with_the_same_bytes(
    plain_take: carrellata.TakeResult,
) -> None:
    job = carrellata.plain_tables(one_shot(pa.table(columns())))
    rules = Rules(project="p", root=None, limits=Limits())
    answer = solve_take(json.dumps(job).encode(), rules, PARQUET)
    assert isinstance(answer, SolvedTake)
    assert answer.body == plain_take.to_parquet()


def test_a_solve_with_a_folder_writes_what_the_command_writes(tmp_path: Path) -> None:
    given = one_shot(pa.table(columns()))
    told: list[carrellata.StepDone] = []
    result = carrellata.solve(given, tmp_path, progress=told.append)
    assert result.review is not None
    assert Path(result.review).is_file()
    written = (tmp_path / "first/takes/010.parquet").read_bytes()
    assert written == carrellata.solve_shot(given).to_parquet()
    assert [(one.shot, one.phase, one.done, one.total) for one in told] == [
        ("010", "take", 1, 1)
    ]


def test_of_several_takes_the_one_in_use_is_that_of_the_command(tmp_path: Path) -> None:
    job = one_shot(columns(), takes=2)
    written = carrellata.solve(job, tmp_path)["010"].need()
    assert carrellata.solve_shot(job).to_parquet() == written.to_parquet()


@pytest.mark.slow
def test_an_open_setup_is_chosen_as_the_command_chooses_it(tmp_path: Path) -> None:
    job = one_shot(columns(), rig={"kind": "choose", "kinds": ["sticks"]})
    told: list[carrellata.StepDone] = []
    result = carrellata.solve(job, progress=told.append)
    assert [one.phase for one in told] == ["judge", "take"]
    shot = result["010"]
    assert shot.why is not None
    file = tmp_path / "job.json"
    file.write_text(json.dumps(job))
    assert command_line.run("solve", file, "-o", tmp_path / "takes").code == 0
    written = (tmp_path / "takes/first/takes/010.parquet").read_bytes()
    assert shot.need().to_parquet() == written


def test_faults_are_all_there_with_their_paths() -> None:
    job = one_shot({"frame": np.arange(3), "x": np.arange(3)}, lens_mm=45)
    job["shots"][0]["framing"] = {"size": "ful"}
    with pytest.raises(carrellata.JobError) as refused:
        carrellata.solve(job)
    assert isinstance(refused.value, carrellata.CarrellataError)
    paths = [fault.path for fault in refused.value.faults]
    assert "shots[0].lens_mm" in paths
    assert "shots[0].framing.size" in paths


@pytest.mark.parametrize(
    ("samples", "said"),
    [
        ({"x": np.zeros(3), "y": np.zeros(3), "z": np.zeros(3)}, "frame or time_s"),
        (pa.table({"frame": [1, None], "x": [0.0, 0]}), "empty cells"),
        ({"frame": np.arange(3), "x": np.zeros((3, 3))}, "one dimension"),
        (np.zeros((3, 3)), "must be a table of samples"),
    ],
)
def test_samples_that_are_no_table_are_refused(samples: Any, said: str) -> None:
    with pytest.raises(carrellata.JobError, match=said) as refused:
        carrellata.solve_shot(one_shot(samples))
    (fault,) = refused.value.faults
    assert fault.path == "shots[0].subjects[0].samples"


def test_a_shot_that_cannot_be_used_says_why() -> None:
    far = {**columns(), "x": [1e9] * N_FRAMES}
    result = carrellata.solve(one_shot(far))
    assert result.failed == (result["010"],)
    with pytest.raises(carrellata.ShotDataError) as refused:
        carrellata.solve_shot(one_shot(far))
    assert refused.value.faults[0].path == "shots[0].subjects[0].samples"
    assert "km out" in refused.value.faults[0].message


def test_a_shot_has_to_be_named_where_there_are_several() -> None:
    job = one_shot(columns())
    job["shots"].append({**job["shots"][0], "name": "020"})
    with pytest.raises(carrellata.JobError, match="010, 020"):
        carrellata.solve_shot(job)
    assert carrellata.solve_shot(job, "020").shot == "020"


def test_results_are_tables_arrays_and_typed_measures(
    plain_take: carrellata.TakeResult,
) -> None:
    arrays = plain_take.to_numpy()
    assert list(arrays) == plain_take.table.column_names
    assert arrays["pan_deg"].dtype == np.float64
    assert set(arrays["shot"]) == {"010"}
    np.testing.assert_array_equal(arrays["frame"], np.arange(1001, 1049))
    assert plain_take.measures.frames == N_FRAMES
    in_a_set = {"rig_step_m": None}  # told of takes that have one
    assert plain_take.measures.plain() == plain_take.about["measures"] | in_a_set
    assert plain_take.setup["lens_mm"] == 50


def test_a_notebook_sees_plan_and_frame(plain_take: carrellata.TakeResult) -> None:
    shown = plain_take._repr_html_()
    assert "data:image/svg+xml;base64," in shown
    assert "head in frame" in shown
    result = carrellata.solve(one_shot(columns()))
    assert "010" in result._repr_html_()
    assert "<ul>" in result["010"]._repr_html_()


@pytest.mark.slow
def test_nothing_is_printed_or_left(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    job = one_shot(pa.table(columns(24)), n_frames=24)
    carrellata.solve_shot(job)
    gc.collect()
    files, threads = _open_files(), threading.active_count()
    held = _resident_bytes()
    for _ in range(1000):
        carrellata.solve_shot(job)
    gc.collect()
    assert _open_files() <= files
    assert threading.active_count() == threads
    assert _resident_bytes() - held < 16 * 2**20
    assert list(tmp_path.iterdir()) == []
    assert capfd.readouterr() == ("", "")


def _open_files() -> int:
    return len(list(Path("/proc/self/fd").iterdir()))


def _resident_bytes() -> int:
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE")
