"""Records that a service holds of batches that have ended."""

from pathlib import Path
from typing import Any

from walks import walking_job

from carrellata.jobs.job.parse import parse_job
from carrellata.jobs.run.record import Record
from carrellata.jobs.run.spool import Spool, new_name


def kept(state: Path, count: int) -> list[str]:
    """Leave ended batches of a project, each with two shots, one of them failed."""
    spool = Spool(folder=state / "batches")
    names = []
    for k in range(count):
        record = Record(
            batch=new_name(),
            digest="",
            folder="/",
            out="/out",
            shots=(0, 1),
            job=parse_job(walking_job()),
            submitted_s=float(k),
            project="north",
        )
        spool.write(record)
        for place, name in enumerate(("010", "020")):
            row: dict[str, Any] = {
                "sequence": "chase",
                "scene": "main",
                "shot": name,
                "status": "failed",
                "error": "shots[0]: /secret/out/chase is full",
                "setup": "{}",
                "crew": "brisk",
                "purpose": "",
            }
            outcome = {"status": "failed", "row": row}
            spool.set_outcome(record.batch, "take", place, outcome)
        spool.close(record.batch, {"state": "done", "error": "", "counts": {}})
        names.append(record.batch)
    return names
