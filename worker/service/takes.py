"""Takes: one shot in, its take out, now or a little later."""

import asyncio
import logging
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Annotated

from fastapi import APIRouter, Header, Query, Request, Response
from starlette.concurrency import run_in_threadpool

from .auth import Caller
from .body import read_body
from .callers import CallerOfRequest
from .documents import TAKE_BODY, TAKE_RESPONSES, answer, problems
from .idempotency import IdempotencyKey, IdempotencyKeys
from .kept_takes import KeptTake, KeptTakes, render
from .metrics import Metrics
from .pool import CrashError, LostError, PoolFullError, SolverPool, TooLongError
from .problems import ProblemError, Refusal, late, problem_response, refusal
from .results import FORMS, chosen_form
from .settings import ServiceSettings
from .solving import SolvedTake, solve_take

_log = logging.getLogger(__name__)

router = APIRouter(prefix="/v1/takes", tags=["takes"])

_RETRY_S = 1.0
_SUFFIX = {form: form.rpartition(".")[2].rpartition("/")[2] for form in FORMS}


@dataclass(kw_only=True, slots=True)
class TakeDesk:
    """Takes requests for takes, and keeps what comes of them.

    Attributes:
        settings: of the service.
        pool: solves.
        kept: what came of earlier requests.
        metrics: counts.
        begun: idempotency keys in use.
        pending: requests that are being solved, by project and ticket.
    """

    settings: ServiceSettings
    pool: SolverPool
    kept: KeptTakes
    metrics: Metrics
    begun: IdempotencyKeys = field(default_factory=IdempotencyKeys)
    pending: dict[tuple[str, str], "asyncio.Task[KeptTake | Refusal]"] = field(
        default_factory=dict
    )

    def start(
        self, caller: Caller, ticket: str, body: bytes, form: str
    ) -> "asyncio.Task[KeptTake | Refusal]":
        """Have a take solved; nobody has to wait for it."""
        task = asyncio.create_task(self._solve(caller, ticket, body, form))
        place = caller.project, ticket
        self.pending[place] = task
        caller.usage.in_flight += 1

        def ended(done: "asyncio.Task[KeptTake | Refusal]") -> None:
            caller.usage.in_flight -= 1
            if self.pending.get(place) is done:
                del self.pending[place]

        task.add_done_callback(ended)
        return task

    async def _solve(
        self, caller: Caller, ticket: str, body: bytes, form: str
    ) -> KeptTake | Refusal:
        solved: SolvedTake | Refusal
        try:
            solved = await self.pool.call(solve_take, body, caller.rules, form)
        except TooLongError as error:
            detail = f"the take {error}; send it as a batch"
            solved = refusal(422, "too_long", detail)
        except (LostError, PoolFullError) as error:
            # Not kept: the next try may well go through.
            return refusal(503, "busy", str(error))
        except CrashError as error:
            return refusal(500, "failed", str(error))
        if isinstance(solved, Refusal):
            self.kept.refuse(caller.project, ticket, solved)
            return solved
        self.metrics.takes.labels("solved").inc()
        return self.kept.put(caller.project, ticket, solved)


@router.post(
    "",
    response_class=Response,
    summary="Solve one shot",
    openapi_extra={"requestBody": TAKE_BODY},
    responses=TAKE_RESPONSES
    | problems(400, 401, 406, 408, 409, 413, 415, 422, 429, 500, 503),
)
async def post_take(
    request: Request,
    caller: CallerOfRequest,
    wait: Annotated[
        float,
        Query(ge=0, le=3600, allow_inf_nan=False, description="Seconds to wait."),
    ] = 10.0,
    accept: Annotated[str | None, Header(include_in_schema=False)] = None,
    idempotency_key: IdempotencyKey = None,
) -> Response:
    """Solve the only shot of a job and answer with its take.

    A take that is not there after `wait` seconds is answered by 202, and fetched from
    where `Location` says. The same request again is answered from memory.
    """
    desk: TakeDesk = request.app.state.takes
    form = _form(accept)
    limits = caller.rules.limits
    body = await read_body(
        request, most_bytes=limits.body_bytes, limit_s=desk.settings.body_s
    )
    ticket = desk.kept.ticket(caller.project, body)
    with desk.begun.one(caller.digest, idempotency_key, ticket):
        found = desk.kept.get_same(caller.project, ticket)
        if found is not None:
            desk.metrics.takes.labels("kept").inc()
            return await _answer(desk, caller, found, form, request, kept=True)
        task = desk.pending.get((caller.project, ticket)) if wait == 0 else None
        if task is None:
            if caller.usage.in_flight >= limits.in_flight:
                detail = f"more than {limits.in_flight} takes at one time"
                raise ProblemError(429, "in_flight", detail, headers=late(_RETRY_S))
            task = desk.start(caller, ticket, body, form)
        return await _outcome(desk, caller, task, ticket, form, wait, request)


@router.get(
    "/{key}",
    response_class=Response,
    summary="Fetch a take",
    responses=TAKE_RESPONSES
    | answer(304, {"description": "The client has it."})
    | problems(401, 404, 406, 422, 429, 500, 503),
)
async def get_take(
    request: Request,
    key: str,
    caller: CallerOfRequest,
    wait: Annotated[
        float,
        Query(ge=0, le=3600, allow_inf_nan=False, description="Seconds to wait."),
    ] = 0.0,
    accept: Annotated[str | None, Header(include_in_schema=False)] = None,
) -> Response:
    """Fetch a take that was asked for before, or wait for it.

    Keys are the project's own: what another project has is not there.
    """
    desk: TakeDesk = request.app.state.takes
    form = _form(accept)
    task = desk.pending.get((caller.project, key))
    if task is not None:
        return await _outcome(desk, caller, task, key, form, wait, request)
    found = desk.kept.get(caller.project, key)
    if found is None:
        raise ProblemError(404, "no_take", "there is no such take; send its shot")
    return await _answer(desk, caller, found, form, request, kept=True)


async def _outcome(
    desk: TakeDesk,
    caller: Caller,
    task: "asyncio.Task[KeptTake | Refusal]",
    ticket: str,
    form: str,
    wait: float,
    request: Request,
) -> Response:
    """Return what comes of a request within the time that somebody waits."""
    longest = min(wait, desk.settings.wait_s)
    done, _ = await asyncio.wait({task}, timeout=longest)
    if not done:
        return Response(
            status_code=202,
            headers={"Location": f"/v1/takes/{ticket}", **late(_RETRY_S)},
        )
    return await _answer(desk, caller, task.result(), form, request, kept=False)


async def _answer(
    desk: TakeDesk,
    caller: Caller,
    found: KeptTake | Refusal,
    form: str,
    request: Request,
    *,
    kept: bool,
) -> Response:
    if isinstance(found, Refusal):
        again = late(_RETRY_S) if found.status == 503 else {}
        return problem_response(found, again)
    etag = f'"{found.key[:40]}-{_SUFFIX[form]}"'
    headers = {
        "ETag": etag,
        "Vary": "Accept, Authorization",
        "Cache-Control": "private, no-cache",
        "Content-Location": f"/v1/takes/{found.key}",
        "Carrellata-Take-Key": found.take_key,
        "Carrellata-Source": "kept" if kept else "solved",
    }
    if request.method == "GET" and _has(request.headers, etag):
        return Response(status_code=304, headers=headers)
    if form not in found.forms:
        body = await run_in_threadpool(render, found.stream, form)
        desk.kept.add_form(caller.project, found, form, body)
    return Response(content=found.forms[form], media_type=form, headers=headers)


def _form(accept: str | None) -> str:
    form = chosen_form(accept)
    if form is None:
        detail = f"a take comes as {', '.join(FORMS)}"
        raise ProblemError(406, "not_acceptable", detail)
    return form


def _has(headers: Mapping[str, str], etag: str) -> bool:
    """Tell whether If-None-Match names what would be sent."""
    asked = headers.get("if-none-match", "")
    tags = {tag.strip().removeprefix("W/") for tag in asked.split(",")}
    return etag in tags or "*" in tags
