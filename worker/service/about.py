"""What the service says of itself and of the trade: schema, lenses, health."""

import tempfile
from typing import Annotated

from fastapi import APIRouter, Query, Request, Response
from pydantic_core import to_json

from ...jobs.commands.lens_options import changed_camera, within_body
from ...jobs.commands.lens_table import lens_table, plain_rows
from ...jobs.errors import CarrellataError
from ...jobs.job.schema import job_schema
from .callers import CallerOfRequest
from .documents import answer, json_response, problems
from .pool import SolverPool
from .problems import ProblemError, late, refusal_of
from .results import JSON
from .settings import ServiceSettings

router = APIRouter()

_PLAIN = "text/plain; version=0.0.4; charset=utf-8"
_TEXT_ANSWER = {
    "description": "Text.",
    "content": {"text/plain": {"schema": {"type": "string"}}},
}


@router.get(
    "/v1/lenses",
    tags=["about"],
    response_class=Response,
    summary="What each lens of a kit shows, from where, and how sharp",
    responses=answer(200, json_response("Lenses", "A row a lens."))
    | problems(401, 422, 429, 500),
)
def get_lenses(
    _caller: CallerOfRequest,
    height_m: Annotated[float, Query(description="Stature of the subject.")] = 1.7,
    headroom: Annotated[float, Query(description="Share of the frame height.")] = 0.08,
    back: Annotated[str | None, Query(description="Film back.")] = None,
    kit: Annotated[str | None, Query(description="Focal lengths, 18,25,35.")] = None,
    stop: Annotated[float | None, Query(description="F-number.")] = None,
    aspect: Annotated[float | None, Query(description="Delivered aspect.")] = None,
) -> Response:
    """Answer as `carrellata lenses` does."""
    try:
        within_body(height_m, headroom)
        camera = changed_camera(None, back=back, kit=kit, stop=stop, aspect=aspect)
    except CarrellataError as error:
        raise ProblemError.of(refusal_of(error)) from error
    rows = lens_table(camera, height_m=height_m, headroom=headroom, change=None)
    table = {"height_m": height_m, "headroom": headroom, "lenses": plain_rows(rows)}
    return Response(to_json(table, inf_nan_mode="null"), media_type=JSON)


@router.get(
    "/v1/schema",
    tags=["about"],
    response_class=Response,
    summary="JSON Schema of the job",
    responses=answer(200, json_response("JobSchema", "JSON Schema, 2020-12."))
    | problems(401, 429, 500),
)
def get_schema(_caller: CallerOfRequest) -> Response:
    """Answer as `carrellata schema` does."""
    return Response(to_json(job_schema()), media_type=JSON)


@router.get(
    "/livez",
    tags=["health"],
    response_class=Response,
    summary="Whether the service runs",
    responses=answer(200, _TEXT_ANSWER),
)
async def get_livez() -> Response:
    """Answer at all."""
    return Response("alive\n", media_type="text/plain")


@router.get(
    "/readyz",
    tags=["health"],
    response_class=Response,
    summary="Whether it can solve and write",
    responses=answer(200, _TEXT_ANSWER) | problems(503),
)
def get_readyz(request: Request) -> Response:
    """Tell whether processes are warm and folders can be written."""
    pool: SolverPool = request.app.state.pool
    settings: ServiceSettings = request.app.state.settings
    if not pool.ready:
        raise ProblemError(503, "cold", "processes are starting", headers=late(1.0))
    for name, folder in (("state", settings.state), ("takes", settings.out)):
        try:
            folder.mkdir(parents=True, exist_ok=True)
            with tempfile.TemporaryFile(dir=folder) as probe:
                probe.write(b"probe")
        except OSError as error:
            detail = f"the folder of {name} cannot be written"
            raise ProblemError(503, "no_storage", detail, headers=late(10)) from error
    return Response("ready\n", media_type="text/plain")


@router.get(
    "/metrics",
    tags=["health"],
    response_class=Response,
    summary="Metrics for Prometheus",
    responses=answer(200, _TEXT_ANSWER),
)
def get_metrics(request: Request) -> Response:
    """Return counts and times; keep it behind the proxy."""
    return Response(request.app.state.metrics.text(), media_type=_PLAIN)
