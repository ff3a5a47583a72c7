"""Takes of the next best setups of a sequence, to look at beside the chosen ones."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import pyarrow as pa

from ..errors import Fault, JobError
from ..job.load import load_job
from ..takes.keys import keys_of
from ..takes.runner_up import RunnerUp
from ..takes.sequence_table import read_sequence
from ..takes.store import Store
from .make_take import solve_prepared
from .shots import prepare


class RunnerUpTake(NamedTuple):
    """A chosen take and that of the setup that came next, both as written tables."""

    shot: str
    chosen: pa.Table
    runner_up: RunnerUp
    table: pa.Table


def runner_up_takes(job_path: Path, store: Store) -> Iterator[RunnerUpTake]:
    """Solve the runner-up of each shot that has one; nothing is written.

    Args:
        job_path: the job that the sequence was solved from.
        store: of the solved sequence. Shots of it that the job no longer has, or whose
            take is not whole, are left out.

    Raises:
        InputError: the job or the sequence's table cannot be read.
        JobError: the job is wrong, or is of another sequence.
        ShotDataError: the data of a shot cannot be used.
    """
    job = load_job(job_path)
    specs = {spec.name: spec for spec in job.shots}
    for row in read_sequence(store.sequence):
        if row.sequence != job.sequence:
            message = f"is {job.sequence}, the takes are of {row.sequence}"
            raise JobError((Fault(path="sequence", message=message),))
        if row.runner_up is None or row.take_key is None or row.shot not in specs:
            continue
        chosen = store.whole(row.shot, row.take_key)
        if chosen is None:
            continue
        other = RunnerUp.from_plain(json.loads(row.runner_up))
        spec = specs[row.shot].with_setup(other.setup)
        prepared = prepare(job, spec, job_path.parent)
        keys = keys_of(job, spec, prepared.inputs)
        table = solve_prepared(job, prepared, keys)
        yield RunnerUpTake(row.shot, chosen, other, table)
