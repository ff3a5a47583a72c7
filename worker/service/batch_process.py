"""The process of a batch on this machine, as the service holds it."""

import asyncio
import contextlib
import json
import os
import signal
import sys
from collections.abc import AsyncIterator
from typing import Any

End = tuple[str, str | None]
"""How a batch ended: its state, and why it failed."""

_RUN = f"{__package__}.batch_run"
_LONGEST_LINE = 2**20
_GRACE_S = 2.0  # for a run to end in order; then it is killed


def hold_signals() -> None:
    """Keep back what would end a process before it can say how it ended."""
    signal.pthread_sigmask(signal.SIG_BLOCK, (signal.SIGINT, signal.SIGTERM))


class RunProcess:
    """Runs `batch_run`.

    Attributes:
        end: how it ended; None while it runs, and where it died.
    """

    def __init__(self, process: asyncio.subprocess.Process) -> None:
        """Hold a process that `start` made."""
        self._process = process
        self.end: End | None = None

    @classmethod
    async def start(cls, request: dict[str, Any]) -> "RunProcess":
        """Start the run of a batch."""
        process = await asyncio.create_subprocess_exec(
            sys.executable,
            "-m",
            _RUN,
            stdin=asyncio.subprocess.PIPE,
            stdout=asyncio.subprocess.PIPE,
            limit=_LONGEST_LINE,
            start_new_session=True,
            preexec_fn=hold_signals,
        )
        assert process.stdin is not None
        process.stdin.write(json.dumps(request).encode() + b"\n")
        return cls(process)

    async def done(self) -> AsyncIterator[int]:
        """Yield the place of each shot whose outcome is in the records."""
        assert self._process.stdout is not None
        async for line in self._process.stdout:
            message: dict[str, Any] = json.loads(line)
            if "end" in message:
                self.end = message["end"]["state"], message["end"]["detail"]
                return
            yield message["shot"]

    def stop(self) -> None:
        """Have it end in order, and kill it where it does not."""
        self._signal(signal.SIGINT)
        loop = asyncio.get_running_loop()
        loop.call_later(_GRACE_S, self._signal, signal.SIGKILL)

    async def finish(self) -> None:
        """See it out: in order if it ends by itself, by a kill if not."""
        assert self._process.stdin is not None
        self._process.stdin.close()
        try:
            async with asyncio.timeout(_GRACE_S):
                await self._process.wait()
        except TimeoutError:
            self._signal(signal.SIGKILL)
            await self._process.wait()

    def _signal(self, number: signal.Signals) -> None:
        """Signal it; a kill takes its own processes with it."""
        if self._process.returncode is not None:
            return
        with contextlib.suppress(ProcessLookupError):
            if number == signal.SIGKILL:
                os.killpg(self._process.pid, number)
            else:
                self._process.send_signal(number)
