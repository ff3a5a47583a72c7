"""Ends a phase once all its shots are done, and starts the next one.

Safe to run any number of times and to be killed at any point: it acts on files, under
a lease, and moves a batch on only after the next phase's messages are queued.
"""

import json
import logging
import time
from collections import Counter
from typing import Any

from ...jobs.places.object_errors import StoreError
from ...jobs.places.place import failure_words
from ...jobs.run.phases import Phase, Result, plain_given
from ...jobs.run.run import names_of
from ...jobs.run.spool import Outcome
from .bundles import send_shots
from .logs import log
from .machine import BatchWork, Machine
from .messages import JoinMessage
from .review_pages import write_pages
from .state import CANCELLED, CANCELLING, DONE, FAILED, batch_key
from .units import meant

_MOST_TRIES = 5
_LEASE_S = 20


def join(machine: Machine, message: JoinMessage) -> None:
    """Move a batch on if a phase of it is done.

    Raises:
        MessageError: it names a batch or phase that there is not.
        OSError: the results could not be written; the message must be given back.
    """
    batch, phase = meant(machine, message)
    name = batch.record.batch
    again = batch_key(name, "again")
    with machine.state.lease(f"join:{name}", _LEASE_S) as held:
        if held:
            _join(machine, batch, phase)
        else:
            # Who holds the lease looks for this after letting go of it.
            machine.state.redis.set(again, phase.name, ex=_LEASE_S)
    if held and machine.state.redis.delete(again):
        machine.send_join(name, phase)


def _join(machine: Machine, batch: BatchWork, phase: Phase) -> None:
    name, state = batch.record.batch, machine.state
    found = state.batch(name)
    if found is None or found["state"] in (DONE, FAILED):
        return
    cancelled = found["state"] in (CANCELLING, CANCELLED)
    if found["phase"] != phase.name:
        return
    outcomes = machine.spool.outcomes(name, phase.name, batch.shots[phase.name])
    done = {shot: each for shot, each in outcomes.items() if each is not None}
    if cancelled:
        _stop(machine, batch, phase, done)
    elif len(done) < len(outcomes):
        _mend(machine, batch, phase, [k for k in outcomes if k not in done])
    elif int(found.get("tries", 0)) >= _MOST_TRIES:
        reason = f"its {phase.name} join was tried {_MOST_TRIES} times"
        if "fault" in found:
            reason += f": {found['fault']}"
        _close(machine, batch, FAILED, done, error=reason)
    else:
        tries = state.redis.hincrby(batch_key(name), "tries", 1)
        try:
            _go_on(machine, batch, phase, done, again=tries > 1)
        except OSError as error:
            _note(machine, name, error)
            raise


def _go_on(
    machine: Machine,
    batch: BatchWork,
    phase: Phase,
    done: dict[int, Outcome],
    again: bool,
) -> None:
    name = batch.record.batch
    results = _results(phase, done)
    given = phase.join(batch.work, results)
    after = batch.after(phase)
    if after is None:
        folder = batch.work.store.folder
        write_pages(folder, names_of(batch.work, results), again=again)
    log(logging.INFO, "phase joined", job=name, phase=phase.name, shots=len(done))
    if after is None:
        _close(machine, batch, DONE, done)
        return
    plain = {str(shot): plain_given(one) for shot, one in given.items()}
    machine.spool.set_given(name, phase.name, plain)
    record = batch.record
    shots = batch.shots[after.name]
    send_shots(machine.app, machine.settings, record, after, shots)
    machine.state.move(name, after.name, len(shots))
    machine.state.say(name, phase=after.name)


def _note(machine: Machine, name: str, error: OSError) -> None:
    """Keep why a join failed; one that waits for an object store has not failed."""
    redis, key = machine.state.redis, batch_key(name)
    redis.hset(key, "fault", failure_words(error))
    if isinstance(error, StoreError) and error.transient:
        redis.hincrby(key, "tries", -1)


def _stop(
    machine: Machine, batch: BatchWork, phase: Phase, done: dict[int, Outcome]
) -> None:
    """Close a batch that is to stop, with what was done of it."""
    phase.stop(batch.work, _results(phase, done))
    _close(machine, batch, CANCELLED, done)


def _results(phase: Phase, done: dict[int, Outcome]) -> dict[int, Result]:
    return {shot: phase.read(each["row"]) for shot, each in done.items()}


def _mend(machine: Machine, batch: BatchWork, phase: Phase, missing: list[int]) -> None:
    """Queue shots again that were counted and whose files are gone."""
    counted = machine.state.ends(batch.record.batch, phase.name)
    stale = [shot for shot in missing if shot in counted]
    if stale:
        machine.state.forget(batch.record.batch, phase.name, stale)
        machine.send_single(batch.record.batch, phase, stale)


def _close(
    machine: Machine,
    batch: BatchWork,
    state: str,
    done: dict[int, Outcome],
    error: str = "",
) -> None:
    record = batch.record
    counts = Counter(each["status"] for each in done.values())
    end: dict[str, Any] = {
        "state": state,
        "counts": dict(sorted(counts.items())),
        "finished_s": time.time(),
        "error": error,
    }
    machine.spool.close(record.batch, end)
    fields = {**end, "counts": json.dumps(end["counts"])}
    machine.state.close(record.batch, record.digest, state, fields)
    machine.state.say(record.batch, state=state)
    log(logging.INFO, f"batch {state}", job=record.batch, **counts)
