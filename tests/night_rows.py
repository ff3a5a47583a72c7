"""Rows of a made-up night, and parts that end; processes of their own import this."""

import json
from dataclasses import replace
from typing import Any

from walks import walking_job, walking_shot

from carrellata.jobs.job.parse import parse_job
from carrellata.jobs.job.spec import JobFile
from carrellata.jobs.places.place import Place
from carrellata.jobs.takes.merge import merge_sequence, note_reported
from carrellata.jobs.takes.sequence_table import ShotRow

N_SHOTS = 16
STICKS = {"kind": "sticks", "at": [0, 0, 0]}


def some_job() -> JobFile:
    names = [f"{10 * k:03d}" for k in range(1, N_SHOTS + 1)]
    return parse_job(walking_job(*map(walking_shot, names)))


def row(shot: str, night: int, **fields: Any) -> ShotRow:
    found = ShotRow(
        sequence="chase",
        scene="main",
        shot=shot,
        status="solved",
        take_key=f"{shot}-{night}",
        setup=json.dumps({"rig": STICKS, "lens_mm": float(night)}),
        crew="steady",
        purpose="",
        measures={"frames": night, "in_frame": 1.0 / (1 + night)},
    )
    return replace(found, **fields)


def end_part(folder: Place, job: JobFile, night: int, part: int, count: int) -> None:
    """End a part of a run: its rows, and that it came to its end."""
    shots = [spec.name for spec in job.shots[part::count]]
    merge_sequence(
        folder / "sequence.parquet", job, [row(shot, night) for shot in shots]
    )
    note_reported(folder, shots)
