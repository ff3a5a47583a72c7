"""One take of a job, from the farm's interactive pool, while somebody waits."""

from collections.abc import Sequence
from pathlib import Path

from ...jobs.errors import InputError, ServiceError
from ...jobs.job.spec import JobFile
from ...jobs.places.place import Place
from ...jobs.run.asked import choose_shots
from ...jobs.run.lock import with_locked_setups
from ...jobs.run.record import dump_job
from ...jobs.takes.keys import digest, solver_version
from ...jobs.takes.sequence_table import ShotRow
from ...jobs.takes.store import Store
from .farm import Farm
from .inputs import digests_of
from .interactive import ask_take, forget_answer, wait_answer


def solve_at_once(
    farm: Farm, job: JobFile, *, folder: Path, out: Place, timeout_s: float
) -> ShotRow:
    """Have the shot of a job solved at once, and wait for it.

    The same shot with the same inputs is not solved twice. A setup that is left open is
    chosen for the shot by itself. The sequence's table stays as it is.

    Args:
        farm: the farm.
        job: a checked job of one shot.
        folder: where the job file lies; subjects are found from there.
        out: folder or prefix in which the sequence gets its own.
        timeout_s: how long to wait.

    Raises:
        JobError: the farm cannot do the job.
        PlaceError: a folder is outside those of the farm.
        FullError: Redis is full.
        ServiceError: Redis is not reachable, or no worker answers in time.
    """
    folder = folder.absolute()
    where = out.absolute() if isinstance(out, Path) else out
    store = Store(folder=where / job.sequence)
    alone = with_locked_setups(job, store)
    request = digest(
        {
            "job": dump_job(alone),
            "inputs": digests_of(alone, (0,), folder),
            "out": str(where),
            "solver": solver_version(),
        }
    )
    row = _answered(farm, request, alone, folder, where, timeout_s)
    if row.take_key is not None and store.whole(row.shot, row.take_key) is None:
        forget_answer(farm, request)  # somebody has removed the take since
        row = _answered(farm, request, alone, folder, where, timeout_s)
    return row


def _answered(
    farm: Farm, request: str, job: JobFile, folder: Path, out: Place, timeout_s: float
) -> ShotRow:
    ask_take(farm, request, job=job, folder=folder, out=out)
    answer = wait_answer(farm, request, timeout_s)
    if answer is None:
        message = (
            f"no worker of the interactive pool answered in {timeout_s:g} s; "
            "`carrellata worker --pool interactive` starts one"
        )
        raise ServiceError(message)
    return ShotRow(**answer["row"])


def only_shot(job: JobFile, names: Sequence[str] | None) -> JobFile:
    """Return the job with the one shot that is asked for.

    Raises:
        InputError: not one is asked for.
        JobError: it is not in the job.
    """
    chosen = choose_shots(job, shots=names)
    if len(chosen) != 1:
        path = "--now"
        message = f"solves one shot; name it with --shots, got {len(chosen)}"
        raise InputError(path, message)
    return job.model_copy(update={"shots": chosen})
