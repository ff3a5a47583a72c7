"""The process of one batch: solves a job and tells of every shot as it is done.

Started by the service with one line of JSON on standard input; answers in lines of
JSON. It ends when the service does, and on an interrupt leaves finished takes whole.
"""

import json
import os
import signal
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import IO, Any

from ...jobs.errors import CancelledError, InputError, JobError
from ...jobs.job.load import load_job
from ...jobs.processes.threads import use_one_thread
from ...jobs.run.local import solve_job, workers_for
from ...jobs.subjects.confined import ConfinedReader
from ...jobs.takes.sequence_table import ShotRow

NICE = 10  # somebody waits for takes; nobody for a batch
_GRACE_S = 3.0  # to end in order once the service is gone


def main() -> int:
    """Run the batch that standard input names; returns 0."""
    use_one_thread()
    # What libraries print must not come between the lines of the answer.
    answers = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)
    request = json.loads(sys.stdin.readline())
    signal.signal(signal.SIGTERM, signal.default_int_handler)

    def tell(row: ShotRow) -> None:
        plain = row.plain()
        _say(answers, row={**plain, "setup": json.loads(plain["setup"])})

    end: dict[str, str | None] = {"state": "cancelled", "detail": None}
    try:
        # The service holds them back until there is somebody to answer for them.
        held = (signal.SIGINT, signal.SIGTERM)
        signal.pthread_sigmask(signal.SIG_UNBLOCK, held)
        if request["farm"]:
            from .farm_run import run_on_farm

            end = run_on_farm(request, tell)
        else:
            end = _run_here(request, tell)
    except KeyboardInterrupt:
        pass  # it came when the work was over
    finally:
        for number in (signal.SIGINT, signal.SIGTERM):
            signal.signal(number, signal.SIG_IGN)
    _say(answers, end=end)
    return 0


def _run_here(
    request: dict[str, Any], tell: Callable[[ShotRow], None]
) -> dict[str, str | None]:
    """Solve the job on this machine; return how it ended."""
    os.nice(NICE)
    threading.Thread(target=_end_with_service, daemon=True).start()
    job_path = Path(request["job"])

    def done(what: object, _total: int) -> None:
        if isinstance(what, ShotRow):  # the judging of open shots is not told
            tell(what)

    root = request["root"]
    reader = ConfinedReader(
        root=None if root is None else Path(root),
        max_bytes=request["file_bytes"],
        max_rows=request["samples"],
    )
    try:
        worth = workers_for(load_job(job_path).shots)
        solve_job(
            job_path,
            Path(request["out"]),
            workers=min(worth, request["workers"]),
            progress=done,
            read=reader,
        )
    except (CancelledError, KeyboardInterrupt):
        return {"state": "cancelled", "detail": None}
    except JobError as error:
        return {"state": "failed", "detail": str(error.faults[0])}
    except InputError as error:
        return {"state": "failed", "detail": error.fault.message}
    except OSError as error:
        reason = (error.strerror or "unknown reason").lower()
        return {"state": "failed", "detail": f"takes cannot be written: {reason}"}
    return {"state": "done", "detail": None}


def _say(answers: IO[str], **message: Any) -> None:
    answers.write(json.dumps(message) + "\n")
    answers.flush()


def _end_with_service() -> None:
    """Interrupt the run when the service's end of the pipe is closed."""
    sys.stdin.read()
    os.kill(os.getpid(), signal.SIGINT)
    time.sleep(_GRACE_S)
    os._exit(1)


if __name__ == "__main__":
    sys.exit(main())
