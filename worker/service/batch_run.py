"""The process of one batch on this machine: runs its record to the end.

Started by the service with one line of JSON on standard input; says in lines of JSON
which shots are done. What they came to lies in the batch's records, so that a run which
was killed goes on where it was. It ends when the service does, and on an interrupt
leaves finished takes whole.
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
from ...jobs.places.place import place_of
from ...jobs.processes.threads import use_one_thread
from ...jobs.run.executor import Recorded
from ...jobs.run.local import processes, workers_for
from ...jobs.run.lock import with_locked_setups
from ...jobs.run.phases import Result, merge
from ...jobs.run.record import Record
from ...jobs.run.run import names_of, report, run_phases
from ...jobs.run.solve_shot import Work
from ...jobs.run.spool import BatchRecords, Spool
from ...jobs.subjects import read_subject
from ...jobs.takes.sequence_table import ShotRow
from ...jobs.takes.store import Store

NICE = 10  # somebody waits for takes; nobody for a batch
_GRACE_S = 3.0  # to end in order once the service is gone
_REPORT = "report"

End = dict[str, str | None]


def main() -> int:
    """Run the batch that standard input names; returns 0."""
    use_one_thread()
    # What libraries print must not come between the lines of the answer.
    answers = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)
    request = json.loads(sys.stdin.readline())
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    end: End = {"state": "cancelled", "detail": None}
    try:
        # The service holds them back until there is somebody to answer for them.
        held = (signal.SIGINT, signal.SIGTERM)
        signal.pthread_sigmask(signal.SIG_UNBLOCK, held)
        os.nice(NICE)
        threading.Thread(target=_end_with_service, daemon=True).start()
        end = _run(request, lambda place: _say(answers, shot=place))
    except KeyboardInterrupt:
        pass  # it came when the work was over
    finally:
        for number in (signal.SIGINT, signal.SIGTERM):
            signal.signal(number, signal.SIG_IGN)
    _say(answers, end=end)
    return 0


def _run(request: dict[str, Any], tell: Callable[[int], None]) -> End:
    """Run the batch; return how it ended."""
    spool = Spool(folder=Path(request["spool"]))
    try:
        run_record(spool, spool.read(request["batch"]), request["workers"], tell)
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


def run_record(
    spool: Spool, record: Record, most_workers: int, tell: Callable[[int], None]
) -> None:
    """Run a batch from its record on this machine, and write its review.

    Args:
        spool: where its records lie.
        record: what was submitted.
        most_workers: processes that it may use.
        tell: called with the place of each shot whose outcome is in the records.

    Raises:
        OSError: the sequence's own files, or the records, could not be written.
    """
    work = work_of(spool, record)
    rows: dict[int, ShotRow] = {}

    def told(place: int, result: Result) -> None:
        if isinstance(result, ShotRow):
            rows[place] = result
            tell(place)

    specs = [work.job.shots[place] for place in record.shots]
    count = min(workers_for(specs), most_workers)
    with processes(work, specs, count) as inner:
        work.store.tidy()
        try:
            run_phases(work, record.shots, Recorded(inner=inner), told)
        finally:
            if rows:
                merge(work, rows)
        again = spool.has_begun(record.batch, _REPORT, 0)
        spool.mark_begun(record.batch, _REPORT, 0)
        names = names_of(work, rows)
        report(work.store.folder, names, again=again, write=inner.pages)


def work_of(spool: Spool, record: Record) -> Work:
    """Return what the shots of a recorded batch need on this machine."""
    store = Store(folder=place_of(record.out, "out") / record.job.sequence)
    confines = record.confines
    return Work(
        job=with_locked_setups(record.job, store),
        folder=Path(record.folder),
        store=store,
        read=read_subject if confines is None else confines.reader(),
        records=BatchRecords(spool=spool, batch=record.batch),
    )


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
