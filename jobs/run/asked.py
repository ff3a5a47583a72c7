"""Which shots of a job are asked for."""

from collections.abc import Sequence

from ..errors import Fault, JobError
from ..job.shot import ShotSpec
from ..job.spec import JobFile


def choose_shots(
    job: JobFile,
    *,
    shots: Sequence[str] | None = None,
    shard: tuple[int, int] | None = None,
    flag: str = "--shots",
) -> tuple[ShotSpec, ...]:
    """Return the shots asked for, in the order of the job.

    Args:
        job: the checked job.
        shots: names, in any case of letters, an action's for all its cameras; None
            for all.
        shard: (k, n): every n-th of them from the k-th on, 1 <= k <= n.
        flag: option that the names came from, for what a fault says.

    Raises:
        JobError: a name is not in the job, or there is no such shard.
    """
    chosen = job.shots
    if shots is not None:
        known = {spec.name.lower() for spec in job.shots}
        covered = {
            action.name.lower(): {action.shot_of(one).lower() for one in action.cameras}
            for action in job.actions
        }
        names = ", ".join(spec.name for spec in job.shots)
        faults = tuple(
            Fault(path=flag, message=f'"{name}" is not a shot ({names})')
            for name in shots
            if name.lower() not in known | covered.keys()
        )
        if faults:
            raise JobError(faults)
        wanted = {name.lower() for name in shots}
        asked = wanted.union(*(covered.get(name, ()) for name in wanted))
        chosen = tuple(spec for spec in job.shots if spec.name.lower() in asked)
    if shard is not None:
        number, count = shard
        if not 1 <= number <= count:
            message = f"must be k/n with 1 <= k <= n, got {number}/{count}"
            raise JobError((Fault(path="--shard", message=message),))
        chosen = chosen[number - 1 :: count]
    return chosen
