"""Who asks: the token of a request, and how often it may."""

from typing import Annotated

from fastapi import Depends, Request
from fastapi.security import (
    HTTPAuthorizationCredentials,
    HTTPBasic,
    HTTPBasicCredentials,
    HTTPBearer,
)

from .auth import Caller, Tokens
from .problems import ProblemError, late

_bearer = HTTPBearer(auto_error=False, description="A token of this service.")
_basic = HTTPBasic(auto_error=False, description="The token as the password.")
_CHALLENGE = {"WWW-Authenticate": 'Bearer realm="carrellata"', "Connection": "close"}
# A browser asks for a password and sends it with what the page asks for afterwards.
_BROWSER_CHALLENGE = {
    "WWW-Authenticate": 'Basic realm="carrellata", charset="UTF-8"',
    "Connection": "close",
}


async def _caller(
    request: Request,
    held: Annotated[HTTPAuthorizationCredentials | None, Depends(_bearer)],
) -> Caller:
    return _known(request, None if held is None else held.credentials, _CHALLENGE)


async def _reader(
    request: Request,
    held: Annotated[HTTPAuthorizationCredentials | None, Depends(_bearer)],
    typed: Annotated[HTTPBasicCredentials | None, Depends(_basic)],
) -> Caller:
    token = held.credentials if held is not None else None
    if token is None and typed is not None:
        token = typed.password
    return _known(request, token, _BROWSER_CHALLENGE)


def _known(request: Request, token: str | None, challenge: dict[str, str]) -> Caller:
    """Return who holds a token, unless it asks too often."""
    if token is None:
        detail = "a bearer token is needed"
        raise ProblemError(401, "no_token", detail, headers=challenge)
    tokens: Tokens = request.app.state.tokens
    caller = tokens.caller(token)
    if caller is None:
        raise ProblemError(401, "token", "the token is not known", headers=challenge)
    wait_s = caller.usage.bucket.wait_s()
    if wait_s > 0:
        detail = f"more than {caller.rules.limits.requests_per_s} requests a second"
        raise ProblemError(429, "rate", detail, headers=late(wait_s))
    return caller


CallerOfRequest = Annotated[Caller, Depends(_caller)]
ReaderOfReview = Annotated[Caller, Depends(_reader)]
"""Who looks at a review: a browser may send the token as a password."""
