"""What the queue itself tells of messages that wait and of those with workers."""

from collections.abc import Mapping
from typing import cast

from redis import Redis
from redis.exceptions import NoPermissionError

from .state import CANARIES, COUNTS, WORKERS

# Where the queue's library keeps messages that are not acknowledged.
_UNACKED, _UNACKED_INDEX = "unacked", "unacked_index"


def n_waiting(redis: Redis, queue: str) -> int:
    """Return how many messages wait in a queue."""
    return redis.llen(queue)


def n_in_hand(redis: Redis) -> int:
    """Return how many messages are with workers."""
    return redis.hlen(_UNACKED)


def oldest_in_hand_s(redis: Redis) -> float | None:
    """Return when the message was taken that workers have had longest [Unix s]."""
    found = redis.zrange(_UNACKED_INDEX, 0, 0, withscores=True)
    return cast(list[tuple[str, float]], found)[0][1] if found else None


def canary_s(redis: Redis, pool: str) -> float | None:
    """Return when a pool last took a canary [Unix s]; None where it never did."""
    return redis.zscore(CANARIES, pool)


def workers(redis: Redis) -> Mapping[str, float]:
    """Return when each worker last did anything [Unix s]."""
    return dict(
        cast(list[tuple[str, float]], redis.zrange(WORKERS, 0, -1, withscores=True))
    )


def counts(redis: Redis) -> dict[str, int]:
    """Return the farm's counters."""
    found = cast(dict[str, str], redis.hgetall(COUNTS))
    return {name: int(n) for name, n in found.items()}


def memory_mb(redis: Redis) -> float | None:
    """Return the memory that Redis uses; None where it does not let us ask."""
    try:
        found = redis.info("memory")
    except NoPermissionError:
        return None
    return float(found["used_memory"]) / 1e6
