"""Several small shots a message, so that queueing them costs little beside the work."""

from collections.abc import Callable, Iterator, Sequence

from celery import Celery

from ...jobs.run.phases import Phase
from ...jobs.run.record import Record
from .app import send_units
from .settings import FarmSettings

_LEAST_MESSAGES = 16  # so that a small batch still spreads over the workers


def bundles(
    shots: Sequence[int], cost_ms: Callable[[int], float], settings: FarmSettings
) -> Iterator[tuple[int, ...]]:
    """Yield the shots in order, as many a message as are worth one.

    Args:
        shots: places in the job.
        cost_ms: what a shot is thought to take.
        settings: say how long a message's work should be, and its most shots.
    """
    most = max(1, min(settings.bundle_shots, len(shots) // _LEAST_MESSAGES))
    bundle: list[int] = []
    spent = 0.0
    for shot in shots:
        cost = cost_ms(shot)
        if bundle and (len(bundle) >= most or spent + cost > settings.bundle_ms):
            yield tuple(bundle)
            bundle, spent = [], 0.0
        bundle.append(shot)
        spent += cost
    if bundle:
        yield tuple(bundle)


def send_shots(
    app: Celery,
    settings: FarmSettings,
    record: Record,
    phase: Phase,
    shots: Sequence[int],
) -> int:
    """Queue shots of a batch for a phase and return how many messages that took.

    Raises:
        OperationalError: the broker does not take them; some may be queued.
    """
    parts = bundles(shots, lambda shot: phase.cost_ms(record.job.shots[shot]), settings)
    return send_units(app, record.batch, phase.name, parts)
