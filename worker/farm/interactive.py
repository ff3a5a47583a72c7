"""One take at once, in the pool that batches cannot fill.

    carrellata:take:<request>          the answer, JSON; a channel of the same name
                                       says when it is there
    carrellata:take:<request>:asked    there while the request is with a worker
    carrellata:take:<request>:tries    deliveries

A request is named by whoever asks, best by a digest of all it depends on: the same
name is solved once.
"""

import json
import logging
import signal
import time
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any, cast

from celery.exceptions import SoftTimeLimitExceeded
from pydantic import ValidationError

from ...jobs.errors import InputError, JobError
from ...jobs.job.shot import ShotSpec
from ...jobs.job.spec import JobFile
from ...jobs.places.object_errors import StoreError
from ...jobs.places.place import Place, place_of
from ...jobs.processes.interrupts import noticed_as
from ...jobs.run.attempt import attempt
from ...jobs.run.phases import TAKE
from ...jobs.run.record import dump_job
from ...jobs.run.run import take_alone
from ...jobs.run.solve_shot import Work, failed_row
from ...jobs.takes.sequence_table import ShotRow
from ...jobs.takes.store import Store
from .app import SOFT, send_take
from .broker import answering
from .farm import Farm
from .inputs import FarmReader, submission_faults
from .logs import log
from .machine import Machine
from .messages import MessageError, TakeMessage
from .places import output_below, place_below
from .state import COUNTS, PREFIX, WORKERS

ANSWER_S = 3600
Answer = dict[str, Any]


def take_key_of(request: str) -> str:
    """Return the key, and channel, of a request's answer."""
    return f"{PREFIX}take:{request}"


def ask_take(
    farm: Farm, request: str, *, job: JobFile, folder: Path, out: Place
) -> None:
    """Have the first shot of a job solved at once; asked twice, it is done once.

    Args:
        farm: the farm.
        request: name of the request, 8 to 64 hexadecimal digits.
        job: a checked job of one shot.
        folder: subjects are found from there.
        out: folder in which the sequence gets its own.

    Raises:
        JobError: the farm cannot do the job.
        PlaceError: a folder is outside those of the farm.
        FullError: Redis is full.
        ServiceError: Redis is not reachable.
        OSError: what is asked for could not be written down.
    """
    real = place_below(farm.settings.roots, folder)
    takes = output_below(farm.settings.outputs, out)
    faults = tuple(submission_faults(job, (0,), real, farm.settings.roots))
    if faults:
        raise JobError(faults)
    key = take_key_of(request)
    redis = farm.state.redis
    asked_s = max(1, int(farm.settings.visibility_timeout_s))
    with answering(farm.settings):
        if redis.exists(key) or not redis.set(f"{key}:asked", 1, nx=True, ex=asked_s):
            return
        sent = False
        try:
            # The message only names it: samples do not pass through the queue.
            asked = {"job": dump_job(job), "folder": str(real), "out": str(takes)}
            farm.spool.set_request(request, asked)
            send_take(farm.app, {"request": request})
            sent = True
        finally:
            if not sent:
                redis.delete(f"{key}:asked")


def find_answer(farm: Farm, request: str) -> Answer | None:
    """Return the answer to a request; None while there is none.

    Raises:
        ServiceError: Redis is not reachable.
    """
    with answering(farm.settings):
        text = cast(str | None, farm.state.redis.get(take_key_of(request)))
    return None if text is None else cast(Answer, json.loads(text))


def forget_answer(farm: Farm, request: str) -> None:
    """Let a request be solved anew.

    Raises:
        ServiceError: Redis is not reachable.
    """
    with answering(farm.settings):
        farm.state.redis.delete(take_key_of(request))


def wait_answer(farm: Farm, request: str, timeout_s: float) -> Answer | None:
    """Return the answer to a request, or None where it does not come in time.

    Raises:
        ServiceError: Redis is not reachable.
    """
    end = time.monotonic() + timeout_s
    with answering(farm.settings), farm.state.redis.pubsub() as channel:
        # Subscribed before it is looked for, so that it cannot come in between.
        channel.subscribe(take_key_of(request))
        channel.get_message(timeout=timeout_s)
        answer = find_answer(farm, request)
        while answer is None and (left := end - time.monotonic()) > 0:
            channel.get_message(timeout=min(left, 1.0))
            answer = find_answer(farm, request)
    return answer


def solve_now(machine: Machine, message: TakeMessage) -> None:
    """Solve a request's shot and answer.

    Raises:
        MessageError: its job is none.
        OSError: an object store does not answer; the message must be given back.
        RedisError: Redis was away for too long; the message must be given back.
    """
    key, redis = take_key_of(message.request), machine.state.redis
    if redis.exists(key):
        return
    tries = redis.incr(f"{key}:tries")
    redis.expire(f"{key}:tries", ANSWER_S)
    start = time.monotonic()
    work = _work(machine, message)
    spec = work.job.shots[0]
    if tries > machine.settings.max_attempts:
        row = failed_row(work, spec, "shots[0]: quarantined: its process was lost")
    else:
        try:
            with noticed_as(signal.SIGUSR1, SoftTimeLimitExceeded):
                row = _solve(work, spec)
        except SoftTimeLimitExceeded:
            answer_late(machine, message, machine.settings.time_limit_s * SOFT)
            return
        except StoreError:
            redis.decr(f"{key}:tries")  # no process was lost
            raise
    answer(machine, message, {"row": asdict(row), "folder": str(work.store.folder)})
    log(
        logging.INFO,
        "take done",
        job=message.request,
        shot=spec.name,
        key=row.take_key,
        status=row.status,
        ms=round(1e3 * (time.monotonic() - start), 1),
    )


def _solve(work: Work, spec: ShotSpec) -> ShotRow:
    """Take the shot by itself; whatever it comes to is a row."""
    alone = replace(TAKE, unit=lambda work, spec, _given: take_alone(work, spec))
    passing = (SoftTimeLimitExceeded,)
    row = attempt(work, alone, spec, passing=passing, waits=True)
    assert isinstance(row, ShotRow)
    return row


def answer_late(machine: Machine, message: TakeMessage, limit_s: float) -> None:
    """Answer for a shot that was stopped for the time it took."""
    work = _work(machine, message)
    reason = f"shots[0]: took longer than {limit_s:.3g} s and was stopped"
    row = failed_row(work, work.job.shots[0], reason)
    answer(machine, message, {"row": asdict(row), "folder": str(work.store.folder)})


def answer(machine: Machine, message: TakeMessage, found: Answer) -> None:
    """Give the answer to a request, and tell those who wait."""
    key = take_key_of(message.request)
    with machine.state.redis.pipeline() as pipe:
        pipe.set(key, json.dumps(found), ex=ANSWER_S)
        pipe.delete(f"{key}:tries", f"{key}:asked")
        pipe.publish(key, "answered")
        pipe.zadd(WORKERS, {machine.worker: time.time()})
        pipe.hincrby(COUNTS, f"takes:{found['row']['status']}", 1)
        pipe.execute()
    machine.spool.drop_request(message.request)


def _work(machine: Machine, message: TakeMessage) -> Work:
    asked = machine.spool.request(message.request)
    if asked is None:
        text = f"request {message.request[:16]} is not known"
        raise MessageError(text)
    try:
        job = JobFile.model_validate(asked["job"])
        real = place_below(machine.settings.roots, Path(asked["folder"]))
        out = place_of(asked["out"], "out")
        takes = output_below(machine.settings.outputs, out)
    except (ValidationError, InputError, KeyError) as error:
        text = f"job: {str(error)[:200]}"
        raise MessageError(text) from error
    if not job.shots:
        text = "job: has no shot"
        raise MessageError(text)
    read = FarmReader(roots=machine.settings.roots, inputs={})
    store = Store(folder=takes / job.sequence)
    return Work(job=job, folder=real, store=store, read=read)
