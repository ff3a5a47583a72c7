"""One worker process and its children: started warm, stopped without losing work."""

import logging
import os
import signal
import socket
import sys
from typing import Any

from .app import QUEUES, make_app
from .logs import log, log_as_json
from .settings import Settings

_BATCH_NICE = 10


def run_worker(
    settings: Settings, *, pool: str, processes: int, name: str | None = None
) -> int:
    """Work until told to stop, and return the exit code.

    Kernels are compiled and a shot is operated before the worker says it is ready;
    children are forked from that. On a termination signal the shots in hand have some
    seconds to end and then go back to the queue.

    Args:
        settings: of the farm.
        pool: `batch` or `interactive`.
        processes: shots at a time.
        name: of this worker, one on the whole farm; None makes one up.
    """
    os.environ["REMAP_SIGTERM"] = "SIGQUIT"  # read when the library is imported
    from celery.signals import setup_logging, worker_ready

    from ..jobs.keys import solver_version
    from ..jobs.warm import warm_up
    from .tasks import register

    log_as_json()
    # The command line's own handler would end the warm-up's process differently.
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    if pool == "batch":
        os.nice(_BATCH_NICE)
    warm_up()
    solver_version()  # one for all children, whatever becomes of the files
    worker_name = name or f"{pool}-{os.getpid()}@{socket.gethostname()}"

    def keep_ours(**_: Any) -> None:
        """Keep the library from replacing our log."""

    def ready(**_: Any) -> None:
        log(logging.INFO, "ready", worker=worker_name, pool=pool, processes=processes)

    setup_logging.connect(keep_ours, weak=False)
    worker_ready.connect(ready, weak=False)
    app = make_app(settings)
    register(app, settings)
    worker = app.Worker(
        hostname=worker_name,
        pool="prefork",
        concurrency=processes,
        queues=list(QUEUES[pool]),
        loglevel=logging.INFO,
        optimization="fair",
        without_gossip=True,
        without_mingle=True,
        without_heartbeat=True,
        quiet=True,
    )
    worker.start()
    sys.stderr.flush()
    return int(worker.exitcode or 0)
