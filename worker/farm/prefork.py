"""The pool of child processes, looked after more often than the library does it.

The library looks for a dead child as soon as the child's end of a pipe closes, which
can be before the child counts as dead; then it looks again only after five seconds.
"""

from collections.abc import Callable

from celery.concurrency import prefork
from celery.concurrency.asynpool import AsynPool

_LOOK_EVERY_S = 0.5


class ChildPool(AsynPool):  # type: ignore[misc]
    """Children, looked after twice a second."""

    @property
    def timers(self) -> dict[Callable[[], None], float]:
        """What is done how often [s]."""
        return {self.maintain_pool: _LOOK_EVERY_S}


class TaskPool(prefork.TaskPool):  # type: ignore[misc]
    """The same, as a worker takes it."""

    ChildPool = ChildPool
