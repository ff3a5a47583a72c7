"""Binds a port and serves until it is told to stop."""

import logging
import socket
from collections.abc import Awaitable, Callable

import uvicorn

from ...jobs.errors import InputError
from .app import build_app
from .protocol import timed_protocol
from .settings import ServiceSettings

_HEAD_BYTES = 32 * 1024
_IDLE_S = 30
_STOP_S = 3
_BACKLOG = 512


def run_service(
    settings: ServiceSettings, *, host: str, port: int, listening: Callable[[str], None]
) -> None:
    """Serve until a signal ends it.

    Args:
        settings: of the service.
        host: address to listen on.
        port: 0 takes a free one.
        listening: called with the address once requests are answered.

    Raises:
        InputError: the address cannot be used, or the settings are wrong.
        JobError: the file of tokens is wrong.
    """
    logging.basicConfig(format="%(asctime)s %(levelname)s %(name)s %(message)s")
    logging.getLogger(__package__).setLevel(logging.INFO)
    bound = _bind(host, port)
    with bound:
        app = build_app(settings)
        address = _address(host, bound.getsockname()[1])
        config = uvicorn.Config(
            app,
            http=timed_protocol(settings.body_s),
            ws="none",
            lifespan="on",
            log_config=None,
            access_log=False,
            server_header=False,
            timeout_keep_alive=_IDLE_S,
            timeout_graceful_shutdown=_STOP_S,
            h11_max_incomplete_event_size=_HEAD_BYTES,
        )
        server = _TellingServer(
            config, lambda: listening(address), app.state.batches.leave
        )
        try:
            server.run(sockets=[bound])
        except KeyboardInterrupt:  # told again by the server once it has stopped
            return


class _TellingServer(uvicorn.Server):
    """Says when it answers, and when it is about to stop."""

    def __init__(
        self,
        config: uvicorn.Config,
        ready: Callable[[], None],
        leave: Callable[[], Awaitable[None]],
    ) -> None:
        super().__init__(config)
        self._ready = ready
        self._leave = leave

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        if not self.should_exit:
            self._ready()

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        await self._leave()
        await super().shutdown(sockets)


def _bind(host: str, port: int) -> socket.socket:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    bound = socket.socket(family)
    bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        bound.bind((host, port))
        bound.listen(_BACKLOG)
    except OSError as error:
        bound.close()
        reason = (error.strerror or "cannot be used").lower()
        place = f"{host}:{port}"
        message = f"cannot be listened on: {reason}"
        raise InputError(place, message) from error
    return bound


def _address(host: str, port: int) -> str:
    return f"http://[{host}]:{port}" if ":" in host else f"http://{host}:{port}"
