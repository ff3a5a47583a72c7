"""Which worker holds which messages, and what becomes of those of a silent one.

    carrellata:holders           workers that beat, or did
    carrellata:beat:<holder>     there while the worker beats; it ends by itself
    carrellata:held:<holder>     tags of messages that the worker has not acknowledged

A worker's beat is a process of its own (`beat.py`): a worker that is stopped for a
while, and goes on, keeps what it holds. One that is gone, or whose machine is, falls
silent, and what it held goes back to the queue.
"""

from collections.abc import Iterable
from typing import Any, cast

from celery import Celery
from redis import Redis

from .state import PREFIX

HOLDERS = f"{PREFIX}holders"

_holder: list[str] = []  # of this process, a worker; it has one or none


def hold_as(holder: str) -> None:
    """Have this process's messages noted under a name, one on the whole farm."""
    _holder[:] = [holder]


def beat_key(holder: str) -> str:
    """Return the key that is there while a worker beats."""
    return f"{PREFIX}beat:{holder}"


def held_key(holder: str) -> str:
    """Return the key of what a worker holds."""
    return f"{PREFIX}held:{holder}"


def note_held(pipe: Any, tag: str) -> None:
    """Note, before it is taken, that this worker holds a message."""
    for holder in _holder:
        pipe.sadd(held_key(holder), tag)


def note_done(pipe: Any, tag: str) -> None:
    """Note that this worker holds a message no more."""
    for holder in _holder:
        pipe.srem(held_key(holder), tag)


def beat(redis: "Redis", holder: str, silent_s: float) -> None:
    """Say that a worker is there.

    Args:
        redis: of the farm.
        holder: name of the worker.
        silent_s: for which that is believed.
    """
    with redis.pipeline() as pipe:
        pipe.set(beat_key(holder), "1", px=round(1000 * silent_s))
        pipe.sadd(HOLDERS, holder)
        pipe.execute()


def silent(redis: "Redis") -> set[str]:
    """Return the workers that do not beat."""
    holders = sorted(cast(set[str], redis.smembers(HOLDERS)))
    if not holders:
        return set()
    beats = cast(list[str | None], redis.mget([beat_key(one) for one in holders]))
    return {name for name, one in zip(holders, beats, strict=True) if one is None}


def give_back(app: Celery, redis: "Redis", holder: str) -> int:
    """Put what a worker held back on its queues; return how many messages.

    Raises:
        RedisError, OperationalError: Redis is away; some may be back.
    """
    tags = sorted(cast(set[str], redis.smembers(held_key(holder))))
    if tags:
        _restore(app, tags)
    with redis.pipeline() as pipe:
        pipe.delete(held_key(holder))
        pipe.srem(HOLDERS, holder)
        pipe.execute()
    return len(tags)


def _restore(app: Celery, tags: Iterable[str]) -> None:
    with app.connection_for_write() as connection:
        qos = connection.default_channel.qos
        for tag in tags:
            qos.restore_by_tag(tag, leftmost=True)
