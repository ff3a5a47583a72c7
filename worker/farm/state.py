"""A batch in Redis: what is counted while it runs. Everything has a lifetime.

    carrellata:open                          batches that are not closed, by time
    carrellata:claim:<digest>                the open batch of the same work
    carrellata:batch:<id>                    hash: state, phase, total, sequence, ...
    carrellata:batch:<id>:cancel             there once it is to stop
    carrellata:batch:<id>:<phase>:ends       hash: status of each shot that is done
    carrellata:batch:<id>:<phase>:attempts   hash: deliveries of each shot in hand
    carrellata:counts                        hash: done, failed, redelivered, ...
    carrellata:workers, carrellata:canaries  when each worker and pool was last seen
    carrellata:lease:<name>                  who does what only one may do

On the channel `carrellata:batch:<id>` a message says that a batch has moved on; the
hash says how far.
"""

import json
import secrets
import threading
import time
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import Any, cast

from redis import Redis
from redis.exceptions import RedisError

PREFIX = "carrellata:"
OPEN, COUNTS = f"{PREFIX}open", f"{PREFIX}counts"
WORKERS, CANARIES = f"{PREFIX}workers", f"{PREFIX}canaries"

RUNNING, CANCELLING = "running", "cancelling"
CANCELLED, DONE, FAILED = "cancelled", "done", "failed"
CLOSED = (CANCELLED, DONE, FAILED)

_SAY_EVERY_S = 0.25
_RELEASE = """
if redis.call('get', KEYS[1]) == ARGV[1] then return redis.call('del', KEYS[1]) end
return 0
"""


@dataclass(frozen=True, kw_only=True, slots=True)
class ShotAttempt:
    """What is known of a shot as its work begins.

    Attributes:
        attempt: number of this delivery, from 1.
        cancelled: the batch is to stop.
    """

    attempt: int
    cancelled: bool


def batch_key(batch: str, *parts: str) -> str:
    """Return the key of a batch, or of a part of it."""
    return ":".join((f"{PREFIX}batch", batch, *parts))


@dataclass(frozen=True, kw_only=True, slots=True)
class FarmState:
    """The farm's state in Redis.

    Attributes:
        redis: a client that decodes responses.
        lifetime_s: for which a batch's state is kept.

    Every method raises `RedisError` where Redis is away or full.
    """

    redis: Redis
    lifetime_s: int

    def claim(self, digest: str, batch: str) -> str:
        """Return the open batch of the same work, or make this one it."""
        key = f"{PREFIX}claim:{digest}"
        if self.redis.set(key, batch, nx=True, ex=self.lifetime_s):
            return batch
        return cast(str | None, self.redis.get(key)) or batch

    def reclaim(self, digest: str, batch: str) -> None:
        """Make this batch the open one of its work, whatever was."""
        self.redis.set(f"{PREFIX}claim:{digest}", batch, ex=self.lifetime_s)

    def claim_age_s(self, digest: str) -> float:
        """Return how long ago work was claimed."""
        return self.lifetime_s - self.redis.ttl(f"{PREFIX}claim:{digest}")

    def sent(self, batch: str) -> None:
        """Note that all messages of a batch's first phase are queued."""
        self.redis.hset(batch_key(batch), "sent", "1")

    def open(self, batch: str, phase: str, fields: dict[str, Any]) -> None:
        """Set up a batch that starts, or starts again, with a phase."""
        key = batch_key(batch)
        with self.redis.pipeline() as pipe:
            pipe.delete(batch_key(batch, "cancel"))
            pipe.hset(key, items=flat({**fields, "state": RUNNING, "phase": phase}))
            pipe.hdel(key, "tries", "fault", "counts", "finished_s", "error")
            pipe.hset(key, "moved_s", f"{time.time():.3f}")
            pipe.expire(key, self.lifetime_s)
            pipe.zadd(OPEN, {batch: float(fields["submitted_s"])})
            pipe.execute()

    def batch(self, batch: str) -> dict[str, str] | None:
        """Return the hash of a batch; None where Redis does not know it."""
        found = cast(dict[str, str], self.redis.hgetall(batch_key(batch)))
        return found if "state" in found else None

    def open_batches(self) -> list[str]:
        """Return the batches that are not closed, oldest first."""
        return cast(list[str], self.redis.zrange(OPEN, 0, -1))

    def ends(self, batch: str, phase: str) -> dict[int, str]:
        """Return the status of each shot that a phase is done with."""
        found = self.redis.hgetall(batch_key(batch, phase, "ends"))
        return {int(k): v for k, v in cast(dict[str, str], found).items()}

    def n_ends(self, batch: str, phase: str) -> int:
        """Return how many shots a phase is done with."""
        return self.redis.hlen(batch_key(batch, phase, "ends"))

    def look(
        self, batch: str, phase: str, shots: Sequence[int]
    ) -> tuple[bool, list[bool]]:
        """Return whether a batch is to stop, and which shots were begun and lost."""
        with self.redis.pipeline(transaction=False) as pipe:
            pipe.exists(batch_key(batch, "cancel"))
            for shot in shots:
                pipe.hget(batch_key(batch, phase, "attempts"), str(shot))
            cancelled, *attempts = pipe.execute()
        return bool(cancelled), [attempt is not None for attempt in attempts]

    def begin(self, batch: str, phase: str, shot: int) -> ShotAttempt:
        """Count a delivery of a shot."""
        with self.redis.pipeline(transaction=False) as pipe:
            pipe.hincrby(batch_key(batch, phase, "attempts"), str(shot), 1)
            pipe.exists(batch_key(batch, "cancel"))
            attempt, cancelled = pipe.execute()
        return ShotAttempt(attempt=attempt, cancelled=bool(cancelled))

    def abandon(self, batch: str, phase: str, shot: int) -> None:
        """Take back the delivery of a shot that was not worked on."""
        self.redis.hdel(batch_key(batch, phase, "attempts"), str(shot))

    def end(self, batch: str, phase: str, shot: int, status: str) -> int:
        """Record that a phase is done with a shot.

        Returns:
            How many shots it is done with; the first record of a shot stands.
        """
        ends = batch_key(batch, phase, "ends")
        # Whoever records the last shot counts after that, so one of them sees all.
        with self.redis.pipeline(transaction=False) as pipe:
            pipe.hsetnx(ends, str(shot), status)
            pipe.hlen(ends)
            pipe.hdel(batch_key(batch, phase, "attempts"), str(shot))
            _, n_ends, _ = pipe.execute()
        return cast(int, n_ends)

    def tally(
        self, batch: str, phase: str, worker: str, done: Sequence[tuple[str, float]]
    ) -> None:
        """Count shots that a worker has ended, as statuses and milliseconds."""
        now = time.time()
        counts = Counter(f"shots:{phase}:{status}" for status, _ in done)
        counts.update(f"ms:{phase}:{_bucket(ms)}" for _, ms in done)
        counts[f"ms:{phase}:sum"] += round(sum(ms for _, ms in done))
        with self.redis.pipeline(transaction=False) as pipe:
            for name, n in counts.items():
                pipe.hincrby(COUNTS, name, n)
            pipe.zadd(WORKERS, {worker: now})
            pipe.hset(batch_key(batch), "moved_s", f"{now:.3f}")
            for part in ("ends", "attempts"):
                pipe.expire(batch_key(batch, phase, part), self.lifetime_s)
            pipe.execute()

    def forget(self, batch: str, phase: str, shots: Sequence[int]) -> None:
        """Let a phase do shots again."""
        if not shots:
            return
        names = [str(shot) for shot in shots]
        with self.redis.pipeline() as pipe:
            pipe.hdel(batch_key(batch, phase, "ends"), *names)
            pipe.hdel(batch_key(batch, phase, "attempts"), *names)
            pipe.execute()

    def move(self, batch: str, phase: str, total: int) -> None:
        """Go on to the next phase."""
        moved_s = f"{time.time():.3f}"
        fields = {"phase": phase, "total": total, "moved_s": moved_s, "tries": 0}
        self.redis.hset(batch_key(batch), items=flat(fields))

    def close(
        self, batch: str, digest: str, state: str, fields: dict[str, Any]
    ) -> None:
        """End a batch."""
        with self.redis.pipeline() as pipe:
            pipe.hset(batch_key(batch), items=flat({**fields, "state": state}))
            pipe.zrem(OPEN, batch)
            pipe.delete(f"{PREFIX}claim:{digest}")
            pipe.execute()

    def cancel(self, batch: str) -> None:
        """Ask a batch to stop."""
        with self.redis.pipeline() as pipe:
            pipe.set(batch_key(batch, "cancel"), "1", ex=self.lifetime_s)
            pipe.hset(batch_key(batch), "state", CANCELLING)
            pipe.execute()

    def cancelled(self, batch: str) -> bool:
        """Tell whether a batch is to stop."""
        return bool(self.redis.exists(batch_key(batch, "cancel")))

    def say(self, batch: str, **news: Any) -> None:
        """Tell those who watch a batch that it has moved on."""
        self.redis.publish(batch_key(batch), json.dumps({"batch": batch, **news}))

    def say_seldom(self, batch: str, **news: Any) -> None:
        """Do the same, a few times a second at most, whoever says it."""
        key = batch_key(batch, "said")
        if self.redis.set(key, "1", nx=True, px=round(1000 * _SAY_EVERY_S)):
            self.say(batch, **news)

    def count(self, name: str, n: int = 1) -> None:
        """Add to one of the farm's counters."""
        self.redis.hincrby(COUNTS, name, n)

    def seen(self, pool: str, worker: str) -> None:
        """Note that a worker took the canary of its pool."""
        with self.redis.pipeline() as pipe:
            pipe.zadd(WORKERS, {worker: time.time()})
            pipe.zadd(CANARIES, {pool: time.time()})
            pipe.execute()

    def moved(self, batch: str) -> None:
        """Note that something was done for a batch."""
        self.redis.hset(batch_key(batch), "moved_s", f"{time.time():.3f}")

    def drop_open(self, batch: str) -> None:
        """Take a batch off the list of those that are open."""
        self.redis.zrem(OPEN, batch)

    @contextmanager
    def lease(self, name: str, seconds: float) -> Iterator[bool]:
        """Give whether we alone may do something; for seconds after we died, too."""
        key, token = f"{PREFIX}lease:{name}", secrets.token_hex(8)
        held = bool(self.redis.set(key, token, nx=True, px=round(1000 * seconds)))
        done = threading.Event()
        keeper = threading.Thread(
            target=self._keep, args=(key, seconds, done), daemon=True
        )
        if held:
            keeper.start()
        try:
            yield held
        finally:
            if held:
                done.set()
                keeper.join()
                self.redis.eval(_RELEASE, 1, key, token)

    def _keep(self, key: str, seconds: float, done: threading.Event) -> None:
        """Hold a lease until it is done with."""
        while not done.wait(seconds / 4):
            with suppress(RedisError):
                self.redis.pexpire(key, round(1000 * seconds))


BUCKETS_MS = (1, 3, 10, 30, 100, 300, 1000, 3000, 10_000, 30_000)


def _bucket(ms: float) -> str:
    return next((str(edge) for edge in BUCKETS_MS if ms <= edge), "inf")


def flat(fields: Mapping[str, Any]) -> list[Any]:
    """Return the fields of a hash as names and values in turn."""
    return [part for pair in fields.items() for part in pair]
