"""The queue: its settings, and messages put on it.

The settings are those under which killing children, workers and Redis loses nothing:
a message is acknowledged after its work, given back when its process dies, and given
to another worker when its own is gone. Nothing but JSON is read or written.
"""

from collections.abc import Iterable
from typing import Any

from celery import Celery
from kombu.entity import Queue

from .broker import celery_address
from .settings import FarmSettings

BATCH, JOINS, INTERACTIVE = "batch", "joins", "interactive"
QUEUES = {"batch": (BATCH, JOINS), "interactive": (INTERACTIVE,)}
"""Queues that each pool of workers reads."""

SOFT = 5 / 6
"""Share of the time limit after which a shot is asked to stop."""

UNITS_TASK = "carrellata.units"
JOIN_TASK = "carrellata.join"
TAKE_TASK = "carrellata.take"
CANARY_TASK = "carrellata.canary"


def make_app(settings: FarmSettings, *, client: bool = False) -> Celery:
    """Return the queue of a farm.

    Args:
        settings: of the farm.
        client: whether for a process that only submits and must not wait long.
    """
    app = Celery("carrellata", set_as_current=False)
    patience = (
        {"socket_timeout": 2, "socket_connect_timeout": 1, "max_retries": 1}
        if client
        else {"socket_timeout": 10, "socket_connect_timeout": 5}
    )
    visibility = settings.visibility_timeout_s
    app.conf.update(
        broker_url=celery_address(settings.broker),
        broker_transport="carrellata.worker.farm.transport:Transport",
        broker_transport_options={
            "visibility_timeout": visibility,
            "unacked_restore_interval": settings.restore_interval_s,
            "unacked_restore_throttle": 1,
            "unacked_mutex_expire": 30,
            "socket_keepalive": True,
            "retry_on_timeout": True,
            "health_check_interval": 5,
            **patience,
        },
        broker_connection_retry_on_startup=True,
        broker_connection_max_retries=None,
        visibility_timeout=visibility,
        result_backend_transport_options={"visibility_timeout": visibility},
        task_serializer="json",
        result_serializer="json",
        event_serializer="json",
        accept_content=["json"],
        result_accept_content=["json"],
        task_default_queue=BATCH,
        task_create_missing_queues=False,
        task_queues=[
            Queue(name, routing_key=name) for name in (BATCH, JOINS, INTERACTIVE)
        ],
        task_acks_late=True,
        task_reject_on_worker_lost=True,
        task_acks_on_failure=True,
        task_acks_on_timeout=True,
        task_time_limit=settings.time_limit_s,
        task_soft_time_limit=settings.time_limit_s * SOFT,
        task_ignore_result=True,
        task_track_started=False,
        task_send_sent_event=False,
        task_publish_retry_policy={
            "max_retries": 1,
            "interval_start": 0,
            "interval_step": 0.1,
            "interval_max": 0.2,
        },
        result_backend_always_retry=True,
        result_extended=False,
        worker_prefetch_multiplier=1,
        worker_cancel_long_running_tasks_on_connection_loss=False,
        worker_max_memory_per_child=settings.memory_mb * 1000,
        worker_send_task_events=False,
        worker_enable_remote_control=False,
        worker_hijack_root_logger=False,
        worker_redirect_stdouts=False,
    )
    return app


def send_units(
    app: Celery, batch: str, phase: str, bundles: Iterable[tuple[int, ...]]
) -> int:
    """Queue shots of a batch, a message a bundle, and return how many messages.

    Args:
        app: the queue.
        batch: its name.
        phase: what is to be done.
        bundles: places of shots in the job.

    Raises:
        OperationalError: the broker does not take them; some may be queued.
    """
    n_sent = 0
    with app.producer_pool.acquire(block=True) as producer:
        for bundle in bundles:
            message = {"batch": batch, "phase": phase, "shots": list(bundle)}
            _send(app, UNITS_TASK, message, BATCH, producer)
            n_sent += 1
    return n_sent


def send_join(app: Celery, batch: str, phase: str) -> None:
    """Queue the join of a phase; it is safe to do so many times."""
    _send(app, JOIN_TASK, {"batch": batch, "phase": phase}, JOINS)


def send_take(app: Celery, message: dict[str, Any]) -> None:
    """Queue one interactive take."""
    _send(app, TAKE_TASK, message, INTERACTIVE)


def send_canary(app: Celery, pool: str, sent_s: float) -> None:
    """Queue a message that only says that a pool works.

    The batch pool's goes where it does not wait for shots.
    """
    _send(app, CANARY_TASK, {"pool": pool, "sent_s": sent_s}, QUEUES[pool][-1])


def _send(
    app: Celery, task: str, message: dict[str, Any], queue: str, producer: Any = None
) -> None:
    app.send_task(
        task,
        args=[message],
        queue=queue,
        producer=producer,
        ignore_result=True,
        time_limit=None,  # the worker's own holds
        soft_time_limit=None,
    )
