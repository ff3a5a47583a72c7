"""The beat of one worker, in a process of its own.

    python -m carrellata.worker.farm.beat HOLDER

It beats until the worker's end of its standard input is closed, which is when the
worker ends, however it does. While the worker is merely stopped, it goes on.
"""

import os
import secrets
import subprocess
import sys
import threading
import time
from select import select

from redis.exceptions import RedisError

from .broker import quick_client
from .holding import beat
from .settings import load_settings

BEATS = 4  # in the time after which a worker counts as silent
_AGAIN_S = 1.0  # before a beat that has died is started anew


def holder_name(worker: str) -> str:
    """Return a name for a worker that none before it had."""
    return f"{worker}#{secrets.token_hex(4)}"


def keep_beating(holder: str) -> None:
    """Start the beat of this process, a worker, and again should it die."""

    def keep() -> None:
        words = [sys.executable, "-m", __name__, holder]
        while True:
            process = subprocess.Popen(
                words, stdin=subprocess.PIPE, start_new_session=True
            )
            process.wait()
            time.sleep(_AGAIN_S)

    threading.Thread(target=keep, daemon=True).start()


def main() -> int:
    """Beat for the worker that the first word names; returns 0."""
    settings = load_settings()
    redis = quick_client(settings)
    every_s = settings.silent_s / BEATS
    while True:
        try:
            beat(redis, sys.argv[1], settings.silent_s)
        except RedisError:
            every_s = min(every_s, _AGAIN_S)
        else:
            every_s = settings.silent_s / BEATS
        ready, _, _ = select([sys.stdin], [], [], every_s)
        if ready and not os.read(sys.stdin.fileno(), 1):
            return 0


if __name__ == "__main__":
    sys.exit(main())
