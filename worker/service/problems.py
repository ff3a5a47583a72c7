"""What goes wrong, as RFC 9457 problem details.

A problem's faults are those of the command line, word for word. Problems never hold a
place on this machine or a trace.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from http import HTTPStatus
from typing import Any

from fastapi import Response

from ...jobs.errors import (
    CarrellataError,
    Fault,
    InputError,
    JobError,
    ShotDataError,
)

MEDIA_TYPE = "application/problem+json"
MOST_FAULTS = 200  # that one answer lists; the rest is counted
_LONGEST = 1000  # characters of one message


@dataclass(frozen=True, kw_only=True, slots=True)
class Refusal:
    """Why a request is not answered as asked; crosses process borders.

    Attributes:
        status: of HTTP.
        code: one word for programs.
        detail: one sentence.
        faults: all that is wrong, by field.
        n_faults: how many there are; more than `faults` lists where they are many.
    """

    status: int
    code: str
    detail: str
    faults: tuple[Fault, ...] = ()
    n_faults: int = 0


class ProblemError(CarrellataError):
    """Ends the handling of a request with a problem."""

    def __init__(
        self,
        status: int,
        code: str,
        detail: str,
        *,
        faults: Sequence[Fault] = (),
        headers: Mapping[str, str] | None = None,
    ) -> None:
        """Keep what is answered."""
        super().__init__(detail)
        self.refusal = refusal(status, code, detail, faults)
        self.headers = dict(headers or {})

    @classmethod
    def of(cls, found: Refusal) -> "ProblemError":
        """Return the error that answers with a refusal."""
        error = cls(found.status, found.code, found.detail)
        error.refusal = found
        return error


def refusal(
    status: int, code: str, detail: str, faults: Sequence[Fault] = ()
) -> Refusal:
    """Return a refusal that lists no more faults than anybody reads."""
    listed = tuple(
        Fault(path=one.path[:_LONGEST], message=one.message[:_LONGEST])
        for one in faults[:MOST_FAULTS]
    )
    return Refusal(
        status=status, code=code, detail=detail, faults=listed, n_faults=len(faults)
    )


def refusal_of(error: CarrellataError, *, status: int = 422) -> Refusal:
    """Return what an error of the package says, for a request that caused it."""
    faults: tuple[Fault, ...]
    if isinstance(error, JobError | ShotDataError):
        faults = error.faults
    elif isinstance(error, InputError):
        faults = (error.fault,)
    else:
        faults = (Fault(path="", message=str(error)),)
    first = str(faults[0])[:_LONGEST] if faults else str(error)
    more = f" (and {len(faults) - 1} more)" if len(faults) > 1 else ""
    return refusal(status, _CODES.get(type(error), "job_refused"), first + more, faults)


def late(retry_s: float) -> dict[str, str]:
    """Return the header that says when to try again, whole seconds from 1."""
    return {"Retry-After": str(max(1, round(retry_s + 0.5)))}


def problem_response(
    found: Refusal, headers: Mapping[str, str] | None = None
) -> Response:
    """Return the response that tells of a refusal."""
    body: dict[str, Any] = {
        "type": "about:blank",
        "title": HTTPStatus(found.status).phrase,
        "status": found.status,
        "code": found.code,
        "detail": found.detail,
    }
    if found.faults:
        body["faults"] = [
            {"path": one.path, "message": one.message} for one in found.faults
        ]
        body["n_faults"] = found.n_faults
    return Response(
        content=json.dumps(body),
        status_code=found.status,
        media_type=MEDIA_TYPE,
        headers={"Cache-Control": "no-store", **(headers or {})},
    )


_CODES: dict[type[CarrellataError], str] = {
    JobError: "job_refused",
    InputError: "job_unreadable",
    ShotDataError: "shot_data",
}
