"""Work that takes its process along; a file of its own, so that processes find it."""

import os
import signal

DEADLY = (7, 8, 49)


def deadly(work: int, shot: int) -> int:
    """Multiply, or end the process that was asked to."""
    if shot in DEADLY:
        os.kill(os.getpid(), signal.SIGKILL)
    return work * shot
