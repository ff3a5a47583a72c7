"""Reviews of solved sequences: their pages out, decisions in.

A browser cannot send a bearer token with a link, so a review also takes the token as a
password. What a browser sends by itself it might send for another site too: notes are
therefore taken from the service's own pages only.
"""

import asyncio
import json
import re
from email.utils import formatdate
from pathlib import Path
from typing import Any

from fastapi import APIRouter, Request, Response
from pydantic_core import to_json
from starlette.concurrency import run_in_threadpool

from ...jobs.decide.notes import Notes, joined, notes_of, notes_text, read_notes
from ...jobs.errors import CarrellataError, Fault, JobError
from ...jobs.job.quantities import NAME_PATTERN
from ...jobs.places.atomic import write_whole
from ...jobs.review.cut_page import DATA
from .auth import Caller
from .body import read_body
from .callers import ReaderOfReview
from .documents import answer, json_response, problems
from .problems import ProblemError, late, refusal_of
from .recording import NO_STORAGE
from .results import JSON
from .settings import ServiceSettings

router = APIRouter(prefix="/v1/reviews", tags=["reviews"])

NOTES = "notes.toml"
"""Where decisions lie, beside the pages."""

_MOST_BYTES = 1_000_000  # of the notes of one request
_STEM = NAME_PATTERN.removeprefix("^").removesuffix("$")
_SEQUENCE = re.compile(_STEM, re.ASCII)
_PAGE = re.compile(rf"{_STEM}(\.shot)?\.html", re.ASCII)
_DATA = re.compile(rf"{_STEM}\.js", re.ASCII)
_HTML, _SCRIPT = "text/html; charset=utf-8", "text/javascript; charset=utf-8"
# A page brings its own policy; nobody may put it into a frame.
_FRAMES = "frame-ancestors 'none'"
_OWN = ("same-origin", "none")  # values of Sec-Fetch-Site of the service's own pages

_saving = asyncio.Lock()


@router.get(
    "/{sequence}/{page}",
    response_class=Response,
    summary="A page of a review",
    responses=answer(
        200,
        {
            "description": "The page.",
            "content": {"text/html": {"schema": {"type": "string"}}},
        },
    )
    | problems(401, 404, 429, 500),
)
async def get_page(
    request: Request, sequence: str, page: str, caller: ReaderOfReview
) -> Response:
    """Return a page as the last run of the project wrote it."""
    folder = _review(request, caller, sequence)
    return await run_in_threadpool(_file, folder, page, _PAGE, _HTML)


@router.get(
    "/{sequence}/data/{name}",
    response_class=Response,
    summary="What the page of the cut plays of one shot",
    responses=answer(
        200,
        {
            "description": "A script.",
            "content": {"text/javascript": {"schema": {"type": "string"}}},
        },
    )
    | problems(401, 404, 429, 500),
)
async def get_data(
    request: Request, sequence: str, name: str, caller: ReaderOfReview
) -> Response:
    """Return the data of one shot."""
    folder = _review(request, caller, sequence) / DATA
    return await run_in_threadpool(_file, folder, name, _DATA, _SCRIPT)


@router.post(
    "/{sequence}/notes",
    response_class=Response,
    summary="Save decisions beside a review",
    openapi_extra={
        "requestBody": {
            "required": True,
            "content": {JSON: {"schema": {"$ref": "#/components/schemas/ReviewNotes"}}},
        }
    },
    responses=answer(200, json_response("SavedNotes", "They are on disk."))
    | problems(400, 401, 403, 404, 408, 413, 415, 422, 429, 500, 503),
)
async def post_notes(
    request: Request, sequence: str, caller: ReaderOfReview
) -> Response:
    """Save notes, TOML as `carrellata decide` takes it; the job stays as it is.

    What was saved of other shots before stays.
    """
    if request.headers.get("sec-fetch-site", _OWN[0]) not in _OWN:
        detail = "notes are taken from the service's own pages"
        raise ProblemError(403, "other_site", detail)
    settings: ServiceSettings = request.app.state.settings
    body = await read_body(request, most_bytes=_MOST_BYTES, limit_s=settings.body_s)
    review = _review(request, caller, sequence)
    told = _object(body)
    try:
        new = _notes_in(told, sequence)
        async with _saving:
            saved = await run_in_threadpool(_save, review / NOTES, new)
    except CarrellataError as error:
        raise ProblemError.of(refusal_of(error)) from error
    except OSError as error:
        detail = "the notes cannot be written down"
        raise ProblemError(503, NO_STORAGE, detail, headers=late(10)) from error
    answered = {"saved": NOTES, "decisions": len(saved.decisions)}
    return Response(to_json(answered), media_type=JSON)


def _review(request: Request, caller: Caller, sequence: str) -> Path:
    """Return the folder of a review of the caller's project.

    Raises:
        ProblemError: 404, there is none.
    """
    settings: ServiceSettings = request.app.state.settings
    project = settings.out / caller.project
    folder = project / sequence / "review"
    if (
        _SEQUENCE.fullmatch(sequence) is None
        or not folder.resolve().is_relative_to(project.resolve())
        or not folder.is_dir()
    ):
        raise ProblemError(404, "no_review", "there is no review of this sequence")
    return folder


def _file(folder: Path, name: str, form: re.Pattern[str], media_type: str) -> Response:
    path = folder / name
    try:
        if form.fullmatch(name) is None or path.is_symlink():
            raise FileNotFoundError(path)
        data, stamp = path.read_bytes(), path.stat().st_mtime
    except OSError as error:
        raise ProblemError(404, "no_page", "the review has no such file") from error
    headers = {
        "Content-Security-Policy": _FRAMES,
        "Last-Modified": formatdate(stamp, usegmt=True),
    }
    return Response(data, media_type=media_type, headers=headers)


def _object(body: bytes) -> Any:
    try:
        return json.loads(body)
    except (ValueError, RecursionError) as error:
        raise ProblemError(400, "json", "the body is no JSON") from error


def _notes_in(told: Any, sequence: str) -> Notes:
    """Return the notes that a body holds.

    Raises:
        CarrellataError: it holds no notes of the sequence.
    """
    text = told.get("notes") if isinstance(told, dict) and len(told) == 1 else None
    if not isinstance(text, str):
        raise JobError((Fault(path="notes", message="must be text, alone"),))
    notes = notes_of(text.encode("utf-8", "surrogatepass"), label="notes")
    if notes.sequence != sequence:
        message = f"is {notes.sequence}, the review is of {sequence}"
        raise JobError((Fault(path="sequence", message=message),))
    return notes


def _save(path: Path, new: Notes) -> Notes:
    """Write notes with those of other shots that are there already."""
    notes = joined(read_notes(path), new) if path.exists() else new
    write_whole(path, notes_text(notes).encode())
    return notes
