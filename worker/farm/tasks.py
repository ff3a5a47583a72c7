"""The tasks of the queue: each checks its message and calls what does the work.

A message that is none of ours is refused with a reason and gone. One that cannot be
finished because Redis or the disk is away goes back to the queue.
"""

import logging
import time
from collections.abc import Callable
from typing import Any

from celery import Celery, Task
from celery.exceptions import Reject
from celery.signals import task_failure
from kombu.exceptions import OperationalError
from redis.exceptions import RedisError

from .app import CANARY_TASK, JOIN_TASK, TAKE_TASK, UNITS_TASK
from .interactive import answer_late, solve_now
from .joins import join
from .logs import log
from .machine import Machine, machine_of
from .messages import (
    CanaryMessage,
    JoinMessage,
    M,
    MessageError,
    TakeMessage,
    UnitsMessage,
    read_message,
)
from .settings import FarmSettings
from .units import give_up, work_through

_PAUSE_S = 1.0

_AFTER_LIMIT: dict[str, tuple[type[Any], Callable[[Machine, Any, float], None]]] = {
    UNITS_TASK: (UnitsMessage, give_up),
    TAKE_TASK: (TakeMessage, answer_late),
}
"""What is done, given the limit in seconds, once it has ended a message's process."""


def register(app: Celery, settings: FarmSettings) -> None:
    """Give a queue's worker its tasks."""

    def serve(
        task: Task, kind: type[M], do: Callable[[Machine, M], None], words: Any
    ) -> None:
        worker = task.request.hostname or "worker"
        machine = machine_of(settings, app, worker)
        try:
            if len(words) != 1:
                text = f"message: needs one argument, got {len(words)}"
                raise MessageError(text)
            do(machine, read_message(kind, words[0]))
        except MessageError as error:
            log(logging.ERROR, "message refused", task=task.name, reason=str(error))
            machine.state.count("refused")
        except (RedisError, OperationalError, OSError) as error:
            log(logging.ERROR, "given back", task=task.name, reason=str(error))
            time.sleep(_PAUSE_S)
            raise Reject(str(error), requeue=True) from error

    @app.task(name=UNITS_TASK, bind=True)
    def units(self: Task, *words: Any, **_: Any) -> None:
        serve(self, UnitsMessage, work_through, words)

    limit_s = settings.join_limit_s

    @app.task(name=JOIN_TASK, bind=True, time_limit=limit_s, soft_time_limit=limit_s)
    def joins(self: Task, *words: Any, **_: Any) -> None:
        serve(self, JoinMessage, join, words)

    @app.task(name=TAKE_TASK, bind=True)
    def take(self: Task, *words: Any, **_: Any) -> None:
        serve(self, TakeMessage, solve_now, words)

    @app.task(name=CANARY_TASK, bind=True)
    def canary(self: Task, *words: Any, **_: Any) -> None:
        serve(self, CanaryMessage, _sing, words)

    # Runs in the worker's parent where the time limit has killed a child.
    @task_failure.connect(weak=False)
    def failed(sender: Task, args: Any, exception: Any, **_: Any) -> None:
        known = _AFTER_LIMIT.get(sender.name)
        if known is None or type(exception).__name__ != "TimeLimitExceeded":
            return
        kind, after = known
        worker = sender.request.hostname or "worker"
        machine = machine_of(settings, app, worker)
        try:
            after(machine, read_message(kind, args[0]), settings.time_limit_s)
        except (MessageError, RedisError, OperationalError, OSError) as error:
            log(logging.ERROR, "not recorded", task=sender.name, reason=str(error))


def _sing(machine: Machine, message: CanaryMessage) -> None:
    machine.state.seen(message.pool, machine.worker)
