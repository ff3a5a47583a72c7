"""The body of a request: counted while it comes, within a time, of one media type."""

import asyncio
import re

from fastapi import Request
from starlette.requests import ClientDisconnect

from .problems import ProblemError

_JSON = re.compile(r"application/json *(; *charset *= *\"?utf-8\"? *)?", re.IGNORECASE)
# What is left of a body is not read, so the connection cannot go on.
_CLOSE = {"Connection": "close"}


async def read_body(request: Request, *, most_bytes: int, limit_s: float) -> bytes:
    """Return the bytes of a JSON body.

    Args:
        request: its stream must not have been read.
        most_bytes: counted as they come, whatever the header says.
        limit_s: for all of it to arrive.

    Raises:
        ProblemError: 408, 413 or 415.
    """
    _check_type(request)
    claimed = request.headers.get("content-length", "")
    if claimed.isdigit() and len(claimed) < 20 and int(claimed) > most_bytes:
        raise _too_large(most_bytes)
    parts: list[bytes] = []
    n_bytes = 0
    try:
        async with asyncio.timeout(limit_s):
            async for part in request.stream():
                n_bytes += len(part)
                if n_bytes > most_bytes:
                    raise _too_large(most_bytes)
                parts.append(part)
    except TimeoutError as error:
        detail = f"the body did not arrive within {limit_s:g} s"
        raise ProblemError(408, "body_late", detail, headers=_CLOSE) from error
    except ClientDisconnect as error:
        raise ProblemError(400, "body_cut", "the body was cut short") from error
    return b"".join(parts)


def _check_type(request: Request) -> None:
    media = request.headers.get("content-type", "")
    if _JSON.fullmatch(media.strip()) is None:
        detail = f'must be application/json in UTF-8, got "{media[:100]}"'
        raise ProblemError(415, "media_type", detail, headers=_CLOSE)
    coding = request.headers.get("content-encoding", "identity").strip().lower()
    if coding != "identity":
        detail = f'content must not be encoded, got "{coding[:100]}"'
        raise ProblemError(415, "content_encoding", detail, headers=_CLOSE)


def _too_large(most_bytes: int) -> ProblemError:
    detail = f"the body is larger than {most_bytes} bytes"
    return ProblemError(413, "body_too_large", detail, headers=_CLOSE)
