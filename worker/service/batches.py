"""Batches: a whole job in, progress and takes out."""

from typing import Annotated, Any

from fastapi import APIRouter, Header, Request, Response
from fastapi.responses import StreamingResponse
from pydantic_core import to_json
from starlette.concurrency import run_in_threadpool

from ...jobs.errors import InputError
from ...jobs.run.spool import new_name
from ...jobs.takes.store import Store
from ...jobs.takes.take_file import read_take
from .auth import Caller
from .batch_events import events
from .batch_runner import Batches, KeyUsedError
from .batch_view import BatchState
from .body import read_body
from .callers import CallerOfRequest
from .documents import (
    BATCH_BODY,
    TAKE_CONTENT,
    answer,
    json_response,
    problems,
)
from .idempotency import IdempotencyKey, IdempotencyKeys
from .pool import CrashError, LostError, PoolFullError, SolverPool, TooLongError
from .problems import ProblemError, Refusal, late
from .recording import NO_STORAGE, digest_of_body, record_batch
from .results import FORMS, JSON, PARQUET, chosen_form, rendered
from .settings import ServiceSettings

router = APIRouter(prefix="/v1/batches", tags=["batches"])

_RETRY_S = 1.0
_LIMITS = problems(401, 404, 429, 500, 503)
_STATUS = answer(200, json_response("Batch", "The batch as it stands."))


@router.post(
    "",
    status_code=202,
    response_class=Response,
    summary="Submit a job",
    openapi_extra={"requestBody": BATCH_BODY},
    responses=answer(202, json_response("Batch", "It is on disk and will be solved."))
    | problems(400, 401, 403, 408, 409, 413, 415, 422, 429, 500, 503),
)
async def post_batch(
    request: Request, caller: CallerOfRequest, idempotency_key: IdempotencyKey = None
) -> Response:
    """Submit a job; it is on disk before this answers, and survives a restart."""
    _allowed(caller)
    state = request.app.state
    batches: Batches = state.batches
    settings: ServiceSettings = state.settings
    begun: IdempotencyKeys = state.begun
    limits = caller.rules.limits
    body = await read_body(
        request, most_bytes=limits.batch_body_bytes, limit_s=settings.body_s
    )
    name = state.takes.kept.ticket(caller.project, body)
    with begun.one(caller.digest, idempotency_key, name):
        batch = await run_in_threadpool(
            _earlier, batches, caller, idempotency_key, body
        )
        if batch is None:
            batch = await _submit(state.desk, batches, caller, body, idempotency_key)
    return _status(batch, 202, Location=f"/v1/batches/{batch.about.batch}")


@router.get(
    "/{name}",
    response_class=Response,
    summary="Ask how a batch stands",
    responses=_STATUS | _LIMITS,
)
async def get_batch(request: Request, name: str, caller: CallerOfRequest) -> Response:
    """Tell how a batch of the project stands."""
    return _status(await _found(request, caller, name), 200)


@router.delete(
    "/{name}",
    response_class=Response,
    summary="Cancel a batch",
    responses=_STATUS | _LIMITS | problems(403, 409),
)
async def delete_batch(
    request: Request, name: str, caller: CallerOfRequest
) -> Response:
    """Cancel a batch; takes that are done stay."""
    _allowed(caller)
    batch = await _found(request, caller, name)
    batches: Batches = request.app.state.batches
    if batch.state in ("done", "failed"):
        detail = f"the batch has ended, it is {batch.state}"
        raise ProblemError(409, "ended", detail)
    if batch.state not in ("cancelling", "cancelled"):
        await batches.cancel(batch)
    return _status(batch, 200)


@router.get(
    "/{name}/events",
    response_class=Response,
    summary="Follow a batch",
    responses=answer(
        200,
        {
            "description": "Server-sent events: `shot` a row, `state`, at last `end`.",
            "content": {"text/event-stream": {"schema": {"type": "string"}}},
        },
    )
    | _LIMITS
    | problems(422),
)
async def get_events(
    request: Request,
    name: str,
    caller: CallerOfRequest,
    last_event_id: Annotated[str | None, Header(max_length=20)] = None,
) -> Response:
    """Send a row for every shot as it is done, from after `Last-Event-ID` on."""
    batch = await _found(request, caller, name)
    limit = caller.rules.limits.streams
    usage = caller.usage
    if usage.streams >= limit:
        detail = f"more than {limit} streams at one time"
        raise ProblemError(429, "streams", detail, headers=late(_RETRY_S))
    after = _number(last_event_id)
    batches: Batches = request.app.state.batches

    async def counted() -> Any:
        usage.streams += 1
        try:
            async for event in events(batches, batch, after):
                yield event
        finally:
            usage.streams -= 1

    return StreamingResponse(
        counted(), media_type="text/event-stream", headers={"X-Accel-Buffering": "no"}
    )


@router.get(
    "/{name}/shots/{shot}",
    response_class=Response,
    summary="Fetch a take of a batch",
    responses=answer(200, {"description": "The take.", "content": TAKE_CONTENT})
    | answer(304, {"description": "The client has it."})
    | _LIMITS
    | problems(406, 409),
)
async def get_shot(
    request: Request,
    name: str,
    shot: str,
    caller: CallerOfRequest,
    accept: Annotated[str | None, Header(include_in_schema=False)] = None,
) -> Response:
    """Fetch the take that this batch made, whatever later ones made of the shot."""
    form = chosen_form(accept)
    if form is None:
        detail = f"a take comes as {', '.join(FORMS)}"
        raise ProblemError(406, "not_acceptable", detail)
    batch = await _found(request, caller, name)
    if shot not in batch.about.names:
        raise ProblemError(404, "no_shot", "the batch has no such shot")
    row = batch.last.get(shot)
    if row is None:
        detail = f"shot {shot} is not solved"
        again = {} if batch.has_ended else late(_RETRY_S)
        raise ProblemError(409, "not_solved", detail, headers=again)
    if row["take_key"] is None:
        raise ProblemError(409, "shot_failed", f"shot {shot}: {row['error']}"[:2000])
    etag = f'"{row["take_key"][:40]}-{form.rpartition(".")[2].rpartition("/")[2]}"'
    headers = {
        "ETag": etag,
        "Vary": "Accept, Authorization",
        "Cache-Control": "private, no-cache",
        "Carrellata-Take-Key": row["take_key"],
    }
    if etag in request.headers.get("if-none-match", ""):
        return Response(status_code=304, headers=headers)
    batches: Batches = request.app.state.batches
    folder = batches.take_folder(caller.project, batch.about.sequence)
    path = Store(folder=folder).kept(shot, row["take_key"])

    def read() -> bytes:
        table = read_take(path)
        return path.read_bytes() if form == PARQUET else rendered(table, form)

    try:
        body = await run_in_threadpool(read)
    except InputError as error:
        detail = f"the take of shot {shot} is no longer kept"
        raise ProblemError(404, "no_take", detail) from error
    return Response(content=body, media_type=form, headers=headers)


def _allowed(caller: Caller) -> None:
    if not caller.may_batch:
        detail = "this token may not submit or cancel batches"
        raise ProblemError(403, "no_batches", detail)


def _earlier(
    batches: Batches, caller: Caller, key: str | None, body: bytes
) -> BatchState | None:
    try:
        return batches.earlier(caller.project, key, body)
    except KeyUsedError as error:
        raise ProblemError(422, "idempotency_key", str(error)) from error


async def _submit(
    pool: SolverPool, batches: Batches, caller: Caller, body: bytes, key: str | None
) -> BatchState:
    limit = caller.rules.limits.batches
    if batches.n_active(caller.project) >= limit:
        detail = f"{limit} batches wait or run already"
        raise ProblemError(429, "batches", detail, headers=late(10 * _RETRY_S))
    name = new_name()
    desk = batches.desk(caller.project, key)
    try:
        await run_in_threadpool(
            batches.use_key, caller.project, key, name, digest_of_body(body)
        )
        found = await pool.call(record_batch, body, caller.rules, desk, name)
    except TooLongError as error:
        raise ProblemError(422, "too_long", f"checking the job {error}") from error
    except CrashError as error:
        raise ProblemError(500, "failed", str(error)) from error
    except (LostError, PoolFullError) as error:
        again = late(_RETRY_S)
        raise ProblemError(503, "busy", str(error), headers=again) from error
    except OSError as error:
        raise _no_storage() from error
    if isinstance(found, Refusal):
        if found.code == NO_STORAGE:
            raise _no_storage()
        raise ProblemError.of(found)
    return await batches.take_up(found)


def _no_storage() -> ProblemError:
    detail = "the batch cannot be written down"
    return ProblemError(503, NO_STORAGE, detail, headers=late(10 * _RETRY_S))


async def _found(request: Request, caller: Caller, name: str) -> BatchState:
    batches: Batches = request.app.state.batches
    batch = await run_in_threadpool(batches.find, caller.project, name)
    if batch is None:
        raise ProblemError(404, "no_batch", "there is no such batch")
    return batch


def _status(batch: BatchState, status: int, **headers: str) -> Response:
    body = to_json(batch.plain())
    return Response(content=body, status_code=status, media_type=JSON, headers=headers)


def _number(text: str | None) -> int:
    """Return the number of an event, 0 where there is none."""
    return int(text) if text and text.isascii() and text.isdigit() else 0
