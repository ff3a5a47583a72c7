"""Clients of Redis, and what is said when it does not answer."""

from collections.abc import Iterator
from contextlib import contextmanager
from ssl import SSLCertVerificationError
from urllib.parse import parse_qs, urlsplit

from kombu.exceptions import OperationalError
from redis import Redis
from redis.backoff import ExponentialBackoff
from redis.exceptions import (
    BusyLoadingError,
    ConnectionError,
    OutOfMemoryError,
    RedisError,
    ResponseError,
    TimeoutError,
)
from redis.retry import Retry

from ...jobs.errors import ServiceError
from .settings import FarmSettings, shown_broker

_BACKOFF_CAP_S = 0.5
_AWAY = (ConnectionError, TimeoutError, BusyLoadingError)


class FullError(ServiceError):
    """Redis has no memory left, or too much is waiting already."""


def patient_client(settings: FarmSettings) -> "Redis":
    """Return a client for a worker: it waits for a Redis that is away.

    Raises:
        RedisError: from its commands, after `broker_patience_s` of trying.
    """
    return _client(
        settings,
        socket_timeout=10,
        socket_connect_timeout=5,
        retries=int(settings.broker_patience_s / _BACKOFF_CAP_S),
    )


def quick_client(settings: FarmSettings) -> "Redis":
    """Return a client for a person or a request: it gives up after seconds."""
    return _client(settings, socket_timeout=2, socket_connect_timeout=1, retries=1)


def celery_address(broker: str) -> str:
    """Return a broker's address as the queue's library writes it."""
    parts = urlsplit(broker)
    if parts.scheme == "unix":
        database = parse_qs(parts.query).get("db", ["0"])[0]
        user = f"{parts.netloc.rpartition('@')[0]}@" if "@" in parts.netloc else ""
        return f"redis+socket://{user}{parts.path}?virtual_host={database}"
    return broker


@contextmanager
def answering(settings: FarmSettings) -> Iterator[None]:
    """Turn what goes wrong with Redis into an error that people can act on.

    Raises:
        FullError: it has no memory left.
        ServiceError: it is not reachable, or refuses us.
    """
    try:
        yield
    except (RedisError, OperationalError) as error:
        cause = error.__cause__ if isinstance(error, OperationalError) else error
        where = shown_broker(settings.broker)
        if isinstance(cause, OutOfMemoryError) or "OOM" in str(error):
            message = f"Redis at {where} is full; nothing more can be queued"
            raise FullError(message) from error
        if isinstance(cause, ResponseError) and not isinstance(cause, _AWAY):
            message = f"Redis at {where} refuses: {cause}"
            raise ServiceError(message) from error
        message = f"Redis at {where} does not answer"
        if any(isinstance(one, SSLCertVerificationError) for one in _causes(error)):
            message = f"Redis at {where}: its certificate is not one that is trusted"
        raise ServiceError(message) from error


def _causes(error: BaseException | None) -> Iterator[BaseException]:
    """Yield an error, and what it was raised for, to the first."""
    while error is not None:
        yield error
        error = error.__cause__ or error.__context__


def _client(settings: FarmSettings, *, retries: int, **timeouts: float) -> "Redis":
    retry = Retry(ExponentialBackoff(cap=_BACKOFF_CAP_S, base=0.02), retries)
    client: Redis = Redis.from_url(
        settings.broker,
        decode_responses=True,
        retry=retry,
        retry_on_error=list(_AWAY),
        health_check_interval=5,
        socket_keepalive=True,
        **timeouts,
    )
    return client
