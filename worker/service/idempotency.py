"""Idempotency keys: a request that is sent twice is done once.

A key belongs to a token and to one body. With another body it is refused by 422; while
the first request is still being answered, by 409.
"""

import time
from collections import OrderedDict
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Annotated

from fastapi import Header

from .problems import ProblemError, late

LIFETIME_S = 24 * 3600.0
_MOST = 50_000
_RETRY_S = 1.0

IdempotencyKey = Annotated[
    str | None,
    Header(
        min_length=1,
        max_length=255,
        pattern=r"^[\x21-\x7e]+$",
        description="The same key and body are done once.",
    ),
]


@dataclass(kw_only=True, slots=True)
class _Use:
    name: str
    at_s: float
    running: bool = True


@dataclass(kw_only=True, slots=True)
class IdempotencyKeys:
    """Keys that were used within a day."""

    uses: OrderedDict[tuple[str, str], _Use] = field(default_factory=OrderedDict)

    @contextmanager
    def one(self, who: str, key: str | None, name: str) -> Iterator[None]:
        """Hold a key while its request is answered.

        Args:
            who: the token.
            key: None holds nothing.
            name: the same for the same body.

        Raises:
            ProblemError: 409 or 422.
        """
        if key is None:
            yield
            return
        self._forget()
        use = self.uses.get((who, key))
        if use is not None and use.name != name:
            detail = "this Idempotency-Key was used with another body"
            raise ProblemError(422, "idempotency_key", detail)
        if use is not None and use.running:
            detail = "the first request with this Idempotency-Key is being answered"
            raise ProblemError(409, "in_progress", detail, headers=late(_RETRY_S))
        use = _Use(name=name, at_s=time.monotonic())
        self.uses[who, key] = use
        self.uses.move_to_end((who, key))
        try:
            yield
        finally:
            use.running = False

    def _forget(self) -> None:
        oldest = time.monotonic() - LIFETIME_S
        while self.uses:
            use = next(iter(self.uses.values()))
            if len(self.uses) < _MOST and use.at_s > oldest:
                return
            self.uses.popitem(last=False)
