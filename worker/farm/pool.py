"""One worker process and its children: started warm, stopped without losing work."""

import contextlib
import ctypes
import logging
import os
import signal
import socket
import sys
import threading
from collections.abc import Callable
from typing import Any

from redis.exceptions import RedisError

from . import transport
from .app import QUEUES, make_app
from .beat import holder_name, keep_beating
from .broker import quick_client
from .holding import hold_as
from .logs import log, log_as_json
from .settings import FarmSettings
from .state import FarmState

_DEATH_SIGNAL = 1  # PR_SET_PDEATHSIG of Linux


def run_worker(
    settings: FarmSettings, *, pool: str, processes: int, name: str | None = None
) -> int:
    """Work until told to stop, and return the exit code.

    Kernels are compiled and a shot is operated before the worker says it is ready;
    children are forked from that. On a termination signal no more is taken; shots in
    hand have some seconds to end, and then go back to the queue.

    Args:
        settings: of the farm.
        pool: `batch` or `interactive`.
        processes: shots at a time.
        name: of this worker, one on the whole farm; None makes one up.
    """
    from celery.signals import (
        setup_logging,
        worker_process_init,
        worker_ready,
        worker_shutting_down,
    )

    from .tasks import register
    from .warmth import warm_for_all

    log_as_json()
    # The command line's own handler would end the warm-up's process differently.
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    if pool == "batch":
        os.nice(settings.batch_nice)
    warm_for_all()
    own = name or f"{pool}-{os.getpid()}"
    worker_name = own if "@" in own else f"{own}@{socket.gethostname()}"

    def keep_ours(**_: Any) -> None:
        """Keep the library from replacing our log."""

    def ready(**_: Any) -> None:
        log(logging.INFO, "ready", worker=worker_name, pool=pool, processes=processes)

    def stopping(**_: Any) -> None:
        """Give back, after a while, what is not done by then."""
        last = threading.Timer(settings.stop_s, os.kill, (os.getpid(), signal.SIGQUIT))
        last.daemon = True
        last.start()

    def end_with_worker(**_: Any) -> None:
        """Have a child end when its worker is killed: others are given its shots."""
        ctypes.CDLL(None).prctl(_DEATH_SIGNAL, signal.SIGKILL)

    holder = holder_name(worker_name)
    hold_as(holder)
    worker_process_init.connect(end_with_worker, weak=False)
    worker_shutting_down.connect(stopping, weak=False)
    setup_logging.connect(keep_ours, weak=False)
    worker_ready.connect(ready, weak=False)
    app = make_app(settings)
    register(app, settings)
    worker = app.Worker(
        hostname=worker_name,
        pool="carrellata.worker.farm.prefork:TaskPool",
        concurrency=processes,
        queues=list(QUEUES[pool]),
        loglevel=logging.INFO,
        optimization="fair",
        without_gossip=True,
        without_mingle=True,
        without_heartbeat=True,
        quiet=True,
    )
    transport.on_refused.append(_counting(settings))
    keep_beating(holder)
    worker.start()
    sys.stderr.flush()
    return int(worker.exitcode or 0)


def _counting(settings: FarmSettings) -> Callable[[], None]:
    """Return what counts a message that was refused before it came to a task."""
    state = FarmState(redis=quick_client(settings), lifetime_s=int(settings.lifetime_s))

    def count() -> None:
        with contextlib.suppress(RedisError):
            state.count("refused")

    return count
