"""Puts right what a crash left undone: the backstop of joins, and of Redis itself.

One sweeper at a time does a round, whoever holds the lease. It asks for joins that are
due, queues shots again that no message stands for any more, sets batches up again that
Redis has lost, sends a canary down each queue, and removes what is past its lifetime.
"""

import logging
import time
from collections.abc import Callable
from dataclasses import dataclass, field

from kombu.exceptions import OperationalError
from redis.exceptions import RedisError

from ...jobs.run.phases import Phase, phase_named, phases_of
from ...jobs.run.record import Record
from ...jobs.run.spool import RecordError
from . import figures
from .app import BATCH, QUEUES, send_canary, send_join
from .beat import BEATS
from .bundles import send_shots
from .farm import Farm
from .holding import give_back, silent
from .logs import log
from .state import CANCELLED, CANCELLING, FAILED
from .submission import start

_QUIET_ROUNDS = 2  # without progress before shots are queued again
_LONG = 12  # times as quiet, where other batches may be in the way
_YOUNG_ROUNDS = 3  # a record younger than this may still be on its way to Redis


@dataclass(kw_only=True, slots=True)
class Sweeper:
    """Goes round.

    Attributes:
        farm: with patient or quick connections.
        now_s: the clock, Unix time.
    """

    farm: Farm
    now_s: Callable[[], float] = time.time
    _records: dict[str, Record] = field(default_factory=dict)
    _silent: set[str] = field(default_factory=set)

    def sweep(self) -> bool:
        """Go round once, if no other sweeper has just done so.

        Returns:
            Whether it went round.
        """
        settings, state = self.farm.settings, self.farm.state
        every = settings.sweep_interval_s
        try:
            if not state.redis.set(_LEASE, "1", nx=True, px=round(900 * every)):
                return False
            for pool in QUEUES:
                self._send_canary(pool)
            batches = state.open_batches()
            self._records = {
                batch: record
                for batch, record in self._records.items()
                if batch in batches
            }
            for batch in batches:
                self._look_after(batch)
            self._adopt()
        except (RedisError, OperationalError) as error:
            log(logging.WARNING, "sweep stopped", reason=str(error))
        return True

    def run(self, stopped: Callable[[float], bool]) -> None:
        """Go round until `stopped`, which waits for some seconds, says so."""
        settings = self.farm.settings
        often_s = min(settings.silent_s / BEATS, settings.sweep_interval_s)
        waited_s = settings.sweep_interval_s
        while True:
            if waited_s >= settings.sweep_interval_s:
                self.sweep()
                waited_s = 0.0
            self.give_back_silent()
            if stopped(often_s):
                return
            waited_s += often_s

    def give_back_silent(self) -> None:
        """Give back what workers held that were silent the last time, too.

        Twice, since a Redis that was away has let every beat run out.
        """
        redis = self.farm.state.redis
        try:
            now = silent(redis)
            for holder in sorted(now & self._silent):
                count = give_back(self.farm.app, redis, holder)
                log(logging.WARNING, "worker gone", worker=holder, given_back=count)
            self._silent = now
        except (RedisError, OperationalError) as error:
            log(logging.ERROR, "no look at workers", reason=str(error))

    def _send_canary(self, pool: str) -> None:
        """Send a canary unless an earlier one may still be waiting."""
        if not figures.n_waiting(self.farm.state.redis, QUEUES[pool][-1]):
            send_canary(self.farm.app, pool, self.now_s())

    def _look_after(self, batch: str) -> None:
        state, settings = self.farm.state, self.farm.settings
        found = state.batch(batch)
        if found is None or self.farm.spool.closed(batch) is not None:
            state.drop_open(batch)
            return
        phase = phase_named(found["phase"])
        try:
            record = self._record(batch)
        except RecordError as error:
            log(logging.ERROR, str(error), job=batch)
            state.close(batch, "", FAILED, {"error": str(error)})
            return
        if phase is None:
            return
        n_ends = state.n_ends(batch, phase.name)
        stopping = found["state"] in (CANCELLING, CANCELLED)
        if stopping or n_ends >= len(phase.shots(record.job, record.shots)):
            send_join(self.farm.app, batch, phase.name)
            return
        quiet_s = self.now_s() - float(found["moved_s"])
        patience_s = max(
            2 * settings.visibility_timeout_s,
            _QUIET_ROUNDS * settings.sweep_interval_s,
        )
        if quiet_s > (patience_s if self._idle() else _LONG * patience_s):
            self._queue_again(record, phase)

    def _record(self, batch: str) -> Record:
        """Return the record of a batch, which never changes; read once while open."""
        if batch not in self._records:
            self._records[batch] = self.farm.spool.read(batch)
        return self._records[batch]

    def _idle(self) -> bool:
        """Tell whether no shot waits and none is with a worker."""
        redis = self.farm.state.redis
        return not figures.n_waiting(redis, BATCH) and not figures.n_in_hand(redis)

    def _queue_again(self, record: Record, phase: Phase) -> None:
        ends = self.farm.state.ends(record.batch, phase.name)
        shots = phase.shots(record.job, record.shots)
        missing = [shot for shot in shots if shot not in ends]
        log(
            logging.WARNING,
            "queued again",
            job=record.batch,
            phase=phase.name,
            shots=len(missing),
        )
        send_shots(self.farm.app, self.farm.settings, record, phase, missing)
        self.farm.state.moved(record.batch)

    def _adopt(self) -> None:
        """Set batches up again that are open on disk and unknown to Redis."""
        spool, settings = self.farm.spool, self.farm.settings
        young_s = _YOUNG_ROUNDS * settings.sweep_interval_s
        spool.prune_requests(self.now_s() - settings.lifetime_s)
        for batch in spool.batches():
            age_s = spool.age_s(batch, self.now_s())
            if spool.closed(batch) is not None:
                if age_s > settings.lifetime_s:
                    spool.remove(batch)
                continue
            if age_s < young_s or self.farm.state.batch(batch) is not None:
                continue
            try:
                record = spool.read(batch)
            except RecordError as error:
                log(logging.ERROR, str(error), job=batch)
                continue
            phase = _phase_on_disk(self.farm, record)
            log(logging.WARNING, "set up again", job=batch, phase=phase.name)
            farm = self.farm
            start(farm.app, farm.state, settings, record, phase)


_LEASE = "carrellata:lease:sweep"


def _phase_on_disk(farm: Farm, record: Record) -> Phase:
    """Return the phase that a batch is in, by what lies on disk."""
    phases = phases_of(record.job, record.shots)
    for phase in phases[:-1]:
        if farm.spool.given(record.batch, phase.name) is None:
            return phase
    return phases[-1]
