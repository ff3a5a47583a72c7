"""Works through the shots of one message, whatever happened to earlier deliveries.

A shot's outcome is a file; Redis only counts it. So a shot that has one is counted and
not solved again, and a shot that lost its process is known by the delivery that was
never ended. The join is asked for by whoever ends the last shot, before its message is
acknowledged, and not only once: it does no harm to ask again.
"""

import logging
import signal
import time
from dataclasses import dataclass

from celery.exceptions import SoftTimeLimitExceeded

from ...jobs.processes.interrupts import noticed_as
from ...jobs.run.attempt import attempt
from ...jobs.run.phases import Phase, phase_named, plain_result
from ...jobs.run.spool import Outcome, RecordError
from .app import SOFT
from .logs import log
from .machine import BatchWork, Machine
from .messages import JoinMessage, MessageError, UnitsMessage

QUARANTINED, TIMED_OUT, FAILED = "quarantined", "timed_out", "failed"
BAD = (QUARANTINED, TIMED_OUT, FAILED)
"""Statuses that another try may change."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Ended:
    """A shot that is done: its status, what it took, and how many are done by now."""

    status: str
    ms: float
    n_ends: int


def work_through(machine: Machine, message: UnitsMessage) -> None:
    """Do the shots of a message that are not done.

    Raises:
        MessageError: it names a batch, phase or shots that there are not.
        RedisError: Redis was away for too long; the message must be given back.
        OSError: files are out of reach; likewise.
    """
    batch, phase = meant(machine, message)
    try:
        with noticed_as(signal.SIGUSR1, SoftTimeLimitExceeded):
            _work_through(machine, message, batch, phase)
    except SoftTimeLimitExceeded:
        give_up(machine, message, machine.settings.time_limit_s * SOFT)


def _work_through(
    machine: Machine, message: UnitsMessage, batch: BatchWork, phase: Phase
) -> None:
    name = batch.record.batch
    cancelled, lost = machine.state.look(name, phase.name, message.shots)
    if cancelled:
        machine.send_join(name, phase)
        return
    if len(message.shots) > 1 and any(lost):
        # One of them took its process with it; alone, it harms no other.
        machine.state.count("redelivered")
        machine.send_single(name, phase, message.shots)
        return
    total, ended = len(batch.shots[phase.name]), []
    for shot in message.shots:
        one = _do(machine, batch, phase, shot)
        if one is None:
            break
        ended.append(one)
    if ended:
        done = [(one.status, one.ms) for one in ended]
        machine.state.tally(name, phase.name, machine.worker, done)
        n_ends = ended[-1].n_ends
        machine.state.say_seldom(name, phase=phase.name, done=n_ends, total=total)
        if n_ends < total and not machine.state.cancelled(name):
            return
    machine.send_join(name, phase)


def give_up(machine: Machine, message: UnitsMessage, limit_s: float) -> None:
    """End the shots of a message that was stopped for the time it took.

    Several shots are queued again, each alone, as if they had not been begun: one may
    have taken the others' time. A single one has had its own.
    """
    batch, phase = meant(machine, message)
    name = batch.record.batch
    if len(message.shots) > 1:
        for shot in message.shots:
            machine.state.abandon(name, phase.name, shot)
        machine.send_single(name, phase, message.shots)
        return
    shot = message.shots[0]
    ended: Ended | None
    if machine.spool.outcome(name, phase.name, shot) is None:
        reason = f"took longer than {limit_s:.3g} s and was stopped"
        outcome = _lost(batch, phase, shot, reason, TIMED_OUT)
        ended = _end(machine, batch, phase, shot, outcome, 1e3 * limit_s)
    else:
        ended = _do(machine, batch, phase, shot)
    if ended is not None:
        done = [(ended.status, ended.ms)]
        machine.state.tally(name, phase.name, machine.worker, done)
    if ended is None or ended.n_ends >= len(batch.shots[phase.name]):
        machine.send_join(name, phase)


def meant(
    machine: Machine, message: UnitsMessage | JoinMessage
) -> tuple[BatchWork, Phase]:
    """Return the batch and phase that a message is about.

    Raises:
        MessageError: it names a batch, phase or shots that there are not.
    """
    try:
        batch = machine.batch(message.batch)
    except RecordError as error:
        raise MessageError(str(error)) from error
    phase = phase_named(message.phase)
    if phase is None or phase not in batch.phases:
        text = f"batch {message.batch} has no phase {message.phase}"
        raise MessageError(text)
    shots = message.shots if isinstance(message, UnitsMessage) else ()
    strange = set(shots) - batch.known[phase.name]
    if strange:
        text = f"shot {min(strange)} is not of batch {message.batch}"
        raise MessageError(text)
    return batch, phase


def _do(machine: Machine, batch: BatchWork, phase: Phase, shot: int) -> Ended | None:
    """Do a shot, or count it where it is done; None where the batch is to stop."""
    name, spool, state = batch.record.batch, machine.spool, machine.state
    outcome = spool.outcome(name, phase.name, shot)
    if outcome is not None:
        n_ends = state.end(name, phase.name, shot, outcome["status"])
        return Ended(status=outcome["status"], ms=0.0, n_ends=n_ends)
    begun = state.begin(name, phase.name, shot)
    if begun.cancelled:
        state.abandon(name, phase.name, shot)
        return None
    if begun.attempt > 1:
        state.count("redelivered")
    try:
        return _try(machine, batch, phase, shot, begun.attempt)
    except OSError:
        # Files are out of reach: the message goes back, and no process was lost.
        state.abandon(name, phase.name, shot)
        raise


def _try(
    machine: Machine, batch: BatchWork, phase: Phase, shot: int, attempt: int
) -> Ended:
    """Attempt a shot that was begun, and record what came of it."""
    start = time.monotonic()
    if attempt > machine.settings.max_attempts:
        reason = (
            f"quarantined: its process was lost {attempt - 1} times, perhaps for "
            "want of memory"
        )
        outcome = _lost(batch, phase, shot, reason, QUARANTINED)
    else:
        outcome = _attempt(machine, batch, phase, shot)
    return _end(machine, batch, phase, shot, outcome, 1e3 * (time.monotonic() - start))


def _attempt(machine: Machine, batch: BatchWork, phase: Phase, shot: int) -> Outcome:
    """Run a phase's unit on a shot; whatever it comes to is an outcome."""
    spec = batch.spec(shot)
    given = machine.given(batch, phase, shot)
    result = attempt(
        batch.work, phase, spec, given, passing=(SoftTimeLimitExceeded,), waits=True
    )
    return {"status": result.status, "row": plain_result(result)}


def _lost(
    batch: BatchWork, phase: Phase, shot: int, reason: str, status: str
) -> Outcome:
    spec = batch.spec(shot)
    log(logging.WARNING, reason, job=batch.record.batch, shot=spec.name, status=status)
    row = phase.lost(batch.work, spec, f"shots[{shot}]: {reason}")
    return {"status": status, "row": plain_result(row)}


def _end(
    machine: Machine,
    batch: BatchWork,
    phase: Phase,
    shot: int,
    outcome: Outcome,
    ms: float,
) -> Ended:
    machine.spool.set_outcome(batch.record.batch, phase.name, shot, outcome)
    log(
        logging.INFO,
        "shot done",
        job=batch.record.batch,
        shot=batch.spec(shot).name,
        key=outcome["row"].get("take_key"),
        phase=phase.name,
        status=outcome["status"],
        ms=round(ms, 1),
    )
    status = outcome["status"]
    n_ends = machine.state.end(batch.record.batch, phase.name, shot, status)
    return Ended(status=status, ms=ms, n_ends=n_ends)
