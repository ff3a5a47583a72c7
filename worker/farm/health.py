"""How the farm is: what waits, for how long, who works, and whether queues are read."""

import time
from collections.abc import Iterator
from dataclasses import dataclass, field

from redis.exceptions import RedisError

from . import figures
from .app import BATCH, INTERACTIVE, JOINS, QUEUES
from .farm import Farm

_ALIVE_ROUNDS = 4


@dataclass(frozen=True, kw_only=True, slots=True)
class FarmHealth:
    """The farm at one moment.

    Attributes:
        redis: whether Redis answers; all else is empty where it does not.
        waiting: messages by queue.
        in_flight: messages that are with workers.
        oldest_s: age of the oldest of these.
        canary_s: since each pool took a canary; None where none ever was.
        workers: seconds since each live worker took something, by name.
        counts: the farm's counters since its Redis was new.
        open_batches: how many have not ended.
        records: why the batches' records cannot be written; empty where they can.
        memory_mb: that Redis uses; None where we may not ask.
        alive_s: a queue or worker not seen for longer counts as dead.
    """

    redis: bool
    waiting: dict[str, int] = field(default_factory=dict)
    in_flight: int = 0
    oldest_s: float = 0.0
    canary_s: dict[str, float | None] = field(default_factory=dict)
    workers: dict[str, float] = field(default_factory=dict)
    counts: dict[str, int] = field(default_factory=dict)
    open_batches: int = 0
    records: str = ""
    memory_mb: float | None = None
    alive_s: float = 0.0

    def is_read(self, pool: str) -> bool:
        """Tell whether a pool takes messages."""
        age_s = self.canary_s.get(pool)
        return age_s is not None and age_s <= self.alive_s

    def total(self, *statuses: str) -> int:
        """Return how many shots came to one of these statuses, over all phases."""
        return sum(
            n
            for name, n in self.counts.items()
            if name.startswith("shots:") and name.rpartition(":")[2] in statuses
        )


def farm_health(farm: Farm) -> FarmHealth:
    """Look at the farm; a Redis that is away is an answer, not an error."""
    now, redis = time.time(), farm.state.redis
    alive_s = max(
        _ALIVE_ROUNDS * farm.settings.sweep_interval_s, farm.settings.time_limit_s
    )
    try:
        seen = {pool: figures.canary_s(redis, pool) for pool in QUEUES}
        oldest = figures.oldest_in_hand_s(redis)
        return FarmHealth(
            redis=True,
            waiting={
                queue: figures.n_waiting(redis, queue)
                for queue in (BATCH, JOINS, INTERACTIVE)
            },
            in_flight=figures.n_in_hand(redis),
            oldest_s=0.0 if oldest is None else max(0.0, now - oldest),
            canary_s={
                pool: None if at is None else max(0.0, now - at)
                for pool, at in seen.items()
            },
            workers={
                name: max(0.0, now - at)
                for name, at in figures.workers(redis).items()
                if now - at <= alive_s
            },
            counts=figures.counts(redis),
            open_batches=len(farm.state.open_batches()),
            records=farm.spool.unwritable(),
            memory_mb=figures.memory_mb(redis),
            alive_s=alive_s,
        )
    except RedisError:
        return FarmHealth(redis=False, records=farm.spool.unwritable())


def health_lines(health: FarmHealth) -> Iterator[str]:
    """Yield the farm's health for people, a line a fact."""
    for queue, n in health.waiting.items():
        yield f"{queue + ' queue':<20} {n} waiting"
    oldest = f", the oldest for {health.oldest_s:.0f} s" if health.in_flight else ""
    yield f"{'with workers':<20} {health.in_flight}{oldest}"
    for pool, age_s in health.canary_s.items():
        said = "never" if age_s is None else f"{age_s:.0f} s ago"
        state = "works" if health.is_read(pool) else "not seen"
        yield f"{pool + ' pool':<20} {state}, last canary {said}"
    yield f"{'workers alive':<20} {len(health.workers)}"
    for name, age_s in sorted(health.workers.items()):
        yield f"  {name}, seen {age_s:.0f} s ago"
    yield f"{'open batches':<20} {health.open_batches}"
    good, bad = health.total("solved", "kept"), health.total("failed", "timed_out")
    lost = health.total("quarantined")
    yield f"{'shots':<20} {good} done, {bad} failed, {lost} quarantined"
    for name in ("redelivered", "refused"):
        yield f"{name:<20} {health.counts.get(name, 0)}"
    yield f"{'records':<20} {health.records or 'can be written'}"
    if health.memory_mb is not None:
        yield f"{'Redis memory':<20} {health.memory_mb:.1f} MB"
