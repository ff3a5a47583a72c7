"""Who asks: the token of a request, and how often it may."""

from typing import Annotated

from fastapi import Depends, Request
from fastapi.security import HTTPAuthorizationCredentials, HTTPBearer

from .auth import Caller, Tokens
from .problems import ProblemError, late

_bearer = HTTPBearer(auto_error=False, description="A token of this service.")
_CHALLENGE = {"WWW-Authenticate": 'Bearer realm="carrellata"', "Connection": "close"}


async def _caller(
    request: Request,
    held: Annotated[HTTPAuthorizationCredentials | None, Depends(_bearer)],
) -> Caller:
    if held is None:
        detail = "a bearer token is needed"
        raise ProblemError(401, "no_token", detail, headers=_CHALLENGE)
    tokens: Tokens = request.app.state.tokens
    caller = tokens.caller(held.credentials)
    if caller is None:
        raise ProblemError(401, "token", "the token is not known", headers=_CHALLENGE)
    wait_s = caller.usage.bucket.wait_s()
    if wait_s > 0:
        detail = f"more than {caller.rules.limits.requests_per_s} requests a second"
        raise ProblemError(429, "rate", detail, headers=late(wait_s))
    return caller


CallerOfRequest = Annotated[Caller, Depends(_caller)]
