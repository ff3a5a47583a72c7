"""The records of batches: read back as written, whole or not at all."""

from pathlib import Path

import pytest
from walks import many_shots, walking_job, walking_shot

from carrellata.jobs.job.load import load_job
from carrellata.jobs.job.parse import parse_job
from carrellata.jobs.job.spec import JobFile
from carrellata.jobs.run.record import Record, dump_job
from carrellata.jobs.run.spool import RecordError, Spool, is_name, new_name

EXAMPLES = Path(__file__).resolve().parents[3] / "jobs/examples"


def a_record(job: JobFile) -> Record:
    return Record(
        batch=new_name(),
        digest="d",
        folder="/in",
        out="/out",
        shots=(0, 2),
        inputs={"a.csv": "00"},
        job=job,
        submitted_s=12.5,
        project="p",
    )


def test_resolved_job_is_read_back_the_same() -> None:
    jobs = [parse_job(walking_job(*many_shots(3)))]
    jobs.append(parse_job(walking_job(walking_shot("010", lens_mm="choose"))))
    jobs += [load_job(path) for path in sorted(EXAMPLES.glob("*/*.toml"))]
    assert len(jobs) >= 3
    for job in jobs:
        assert JobFile.model_validate(dump_job(job)) == job


def test_record_is_read_back_the_same(tmp_path: Path) -> None:
    spool = Spool(folder=tmp_path)
    record = a_record(parse_job(walking_job(*many_shots(3))))
    spool.write(record)
    assert spool.read(record.batch) == record
    assert list(spool.batches()) == [record.batch]


@pytest.mark.parametrize("name", ["", "..", "../etc", "ABCDEF0123456789", "a" * 17])
def test_name_that_is_none_is_refused_before_a_file_is_touched(
    tmp_path: Path, name: str
) -> None:
    assert not is_name(name)
    with pytest.raises(RecordError, match="is no name of a batch"):
        Spool(folder=tmp_path).read(name)


def test_damaged_record_is_named(tmp_path: Path) -> None:
    spool = Spool(folder=tmp_path)
    record = a_record(parse_job(walking_job(*many_shots(3))))
    with pytest.raises(RecordError, match="is not known"):
        spool.read(record.batch)
    spool.write(record)
    path = tmp_path / record.batch / "batch.json"
    path.write_bytes(path.read_bytes()[:-20])
    with pytest.raises(RecordError, match="cannot be read"):
        spool.read(record.batch)


def test_outcome_is_there_whole_or_not_at_all(tmp_path: Path) -> None:
    spool, name = Spool(folder=tmp_path), new_name()
    assert spool.outcome(name, "take", 3) is None
    assert not spool.has_begun(name, "take", 3)
    outcome = {"status": "solved", "row": {"x": 0.1 + 0.2, "n": 3, "t": None}}
    spool.mark_begun(name, "take", 3)
    spool.set_outcome(name, "take", 3, outcome)
    assert spool.outcome(name, "take", 3) == outcome
    assert spool.has_begun(name, "take", 3)
    path = tmp_path / name / "take/3.json"
    path.write_text(path.read_text()[:-3])
    assert spool.outcome(name, "take", 3) is None
    spool.drop_outcomes(name, "take", [3])
    assert not list((tmp_path / name / "take").iterdir())


def test_end_of_a_batch_is_kept_and_can_be_taken_back(tmp_path: Path) -> None:
    spool = Spool(folder=tmp_path)
    record = a_record(parse_job(walking_job(*many_shots(3))))
    spool.write(record)
    assert spool.closed(record.batch) is None
    spool.close(record.batch, {"state": "done"})
    assert spool.closed(record.batch) == {"state": "done"}
    spool.reopen(record.batch)
    assert spool.closed(record.batch) is None
    spool.remove(record.batch)
    assert list(spool.batches()) == []
