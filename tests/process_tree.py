"""Processes that a process has started, as the kernel lists them."""

import time
from pathlib import Path


def children(pid: int) -> list[int]:
    """Return the processes that a process has started and that still run."""
    threads = Path(f"/proc/{pid}/task").glob("*/children")
    return [int(word) for listed in threads for word in listed.read_text().split()]


def pool_processes(pid: int) -> list[int]:
    """Return the processes of a pool: children of the server they are forked from."""
    return [worker for child in children(pid) for worker in children(child)]


def wait_for_end(group: int, patience_s: float) -> None:
    """Wait until no process of a group runs."""
    until = time.monotonic() + patience_s
    while any(_runs_in(group, path) for path in Path("/proc").glob("[0-9]*/stat")):
        assert time.monotonic() < until
        time.sleep(0.01)


def _runs_in(group: int, path: Path) -> bool:
    try:
        state, _, its_group, *_ = path.read_text().rpartition(")")[2].split()
    except OSError:  # it ended
        return False
    return int(its_group) == group and state != "Z"
