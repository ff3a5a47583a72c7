"""The application: routes, how errors are told, what starts and stops."""

import asyncio
import contextlib
import fcntl
import logging
import os
import secrets
import signal
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException

from ...jobs.errors import Fault, InputError
from ...jobs.places.atomic import write_whole
from . import about, batches, reviews, takes
from .auth import TOKEN_VARIABLE, Tokens, one_token, tokens_of_file
from .batch_runner import Batches
from .documents import describe
from .edge import Edge
from .idempotency import IdempotencyKeys
from .kept_takes import KeptTakes
from .metrics import Metrics
from .pool import SolverPool
from .problems import ProblemError, problem_response, refusal
from .settings import ServiceSettings

_log = logging.getLogger(__name__)

_SECRET_BYTES = 32


def build_app(settings: ServiceSettings) -> FastAPI:
    """Return the application.

    Raises:
        InputError: the tokens cannot be read, or another service uses the folder.
        JobError: the file of tokens is wrong.
    """
    tokens = _tokens(settings)
    lock = _alone_in(settings.state)
    kept = KeptTakes(
        secret=_secret(settings.state / "secret"), max_bytes=settings.cache_bytes
    )
    pool = SolverPool(
        processes=settings.processes, limit_s=settings.solve_s, queue=settings.queue
    )
    # Jobs of batches may be large: no take waits behind one that is being checked.
    desk = SolverPool(processes=1, limit_s=settings.check_s, queue=settings.queue)
    metrics = Metrics(pool=pool, takes=kept)
    begun = IdempotencyKeys()
    app = FastAPI(
        docs_url=None,
        redoc_url=None,
        openapi_url="/v1/openapi.json",
        redirect_slashes=False,
        lifespan=_lifespan,
    )
    app.state.settings = settings
    app.state.lock = lock
    app.state.tokens = tokens
    app.state.pool = pool
    app.state.desk = desk
    app.state.metrics = metrics
    app.state.begun = begun
    app.state.takes = takes.TakeDesk(
        settings=settings, pool=pool, kept=kept, metrics=metrics, begun=begun
    )
    app.state.batches = Batches(settings)
    for module in (takes, batches, reviews, about):
        app.include_router(module.router)
    app.add_middleware(Edge, metrics=metrics)
    app.add_exception_handler(ProblemError, _problem)
    app.add_exception_handler(RequestValidationError, _bad_parameter)
    app.add_exception_handler(HTTPException, _http_problem)
    app.add_exception_handler(Exception, _failure)
    _document(app)
    return app


@contextlib.asynccontextmanager
async def _lifespan(app: FastAPI) -> AsyncIterator[None]:
    """Warm the processes beside the first requests, which wait; take up batches."""
    pool: SolverPool = app.state.pool
    runner: Batches = app.state.batches
    desk: SolverPool = app.state.desk
    warming = asyncio.create_task(_warm(pool, desk))
    runner.start()
    try:
        yield
    finally:
        warming.cancel()
        await runner.stop()
        await asyncio.to_thread(pool.stop)
        await asyncio.to_thread(desk.stop)
        os.close(app.state.lock)


async def _warm(*pools: SolverPool) -> None:
    """Start the processes; a service that cannot have them ends."""
    try:
        for pool in pools:
            await pool.start()
    except (EOFError, OSError):
        _log.exception("the processes that solve could not be started")
        signal.raise_signal(signal.SIGTERM)


def _document(app: FastAPI) -> None:
    made: dict[str, Any] = {}

    def document() -> dict[str, Any]:
        if not made:
            made.update(describe(app))
        return made

    app.openapi = document  # type: ignore[method-assign]


def _tokens(settings: ServiceSettings) -> Tokens:
    if settings.tokens is not None:
        return tokens_of_file(settings.tokens, root=settings.root)
    if settings.token is None:
        field = TOKEN_VARIABLE
        raise InputError(field, "is not set, and there is no file of tokens")
    return one_token(settings.token, root=settings.root)


def _secret(path: Path) -> bytes:
    """Return the secret of this service, made when it first starts."""
    if not path.exists():
        previous = os.umask(0o077)
        try:
            write_whole(path, secrets.token_bytes(_SECRET_BYTES))
        finally:
            os.umask(previous)
    return path.read_bytes()


def _alone_in(folder: Path) -> int:
    """Return a descriptor that keeps other services out of a folder."""
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError as error:
        os.close(descriptor)
        raise InputError(str(folder), "is in use by another service") from error
    return descriptor


async def _problem(_request: Request, error: Exception) -> Response:
    assert isinstance(error, ProblemError)
    return problem_response(error.refusal, error.headers)


async def _bad_parameter(_request: Request, error: Exception) -> Response:
    """Tell of parameters and headers that are not what they must be."""
    assert isinstance(error, RequestValidationError)
    faults = [
        Fault(path=str(one["loc"][-1]), message=_lower(str(one["msg"])))
        for one in error.errors()
    ]
    return problem_response(refusal(422, "parameter", str(faults[0]), faults))


async def _http_problem(_request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    code = {404: "no_route", 405: "method"}.get(error.status_code, "http")
    found = refusal(error.status_code, code, _lower(str(error.detail)))
    return problem_response(found, error.headers)


async def _failure(_request: Request, _error: Exception) -> Response:
    """Answer what nobody foresaw; the server logs its trace."""
    detail = "the service failed; its log says how"
    return problem_response(refusal(500, "failed", detail))


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]
