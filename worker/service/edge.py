"""What every answer gets: headers, a count, a line in the log."""

import logging
import time
from typing import TYPE_CHECKING

from starlette.datastructures import MutableHeaders

from .metrics import Metrics

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

_log = logging.getLogger(__name__)

# No page of a browser has any business here: no cross-origin headers at all.
_HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "Content-Security-Policy": "default-src 'none'; frame-ancestors 'none'",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
}


class Edge:
    """Wraps the application."""

    def __init__(self, app: "ASGIApp", metrics: Metrics) -> None:
        """Keep what is wrapped and where requests are counted."""
        self.app = app
        self.metrics = metrics

    async def __call__(self, scope: "Scope", receive: "Receive", send: "Send") -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        started = time.perf_counter()
        status = 0

        async def send_with_headers(message: "Message") -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                headers = MutableHeaders(scope=message)
                for name, value in _HEADERS.items():
                    headers.setdefault(name, value)
                headers.setdefault("Cache-Control", "no-store")
            await send(message)

        try:
            await self.app(scope, receive, send_with_headers)
        finally:
            took = time.perf_counter() - started
            # The path may hold a key; only the route's pattern is told.
            route = getattr(scope.get("route"), "path", "none")
            method = scope["method"] if route != "none" else "none"
            self.metrics.requests.labels(method, route, str(status)).inc()
            self.metrics.seconds.labels(route).observe(took)
            _log.info("%s %s %d %.1f ms", method, route, status, took * 1e3)
