"""Where the service listens, what it may read and write, and how long it waits."""

import os
from dataclasses import dataclass
from pathlib import Path

from ...jobs.processes.pool import n_processors


@dataclass(frozen=True, kw_only=True, slots=True)
class ServiceSettings:
    """Settings of one service, read once when it starts.

    Attributes:
        state: folder of its records; no two services share one.
        out: takes of batches lie in `out/<project>/<sequence>`.
        root: folder that subject files of projects without their own are read from;
            None: such projects send samples in the job.
        tokens: file of tokens; None: one token, `token`.
        token: the one token where there is no file.
        processes: that solve takes while somebody waits.
        batch_workers: processes that a batch may use.
        wait_s: longest wait for a take before 202.
        check_s: longest time for checking the job of a batch.
        solve_s: longest time for a take; then its process is ended.
        body_s: longest time for the body of a request to arrive.
        queue: takes that may wait for a process.
        cache_bytes: of takes kept in memory.
        keep_s: for which the records of an ended batch are kept; its takes stay.
        farm: whether batches go to the farm that the environment names.
    """

    state: Path
    out: Path
    root: Path | None = None
    tokens: Path | None = None
    token: str | None = None
    processes: int = max(1, min(4, n_processors()))
    batch_workers: int = max(1, n_processors() - 1)
    wait_s: float = 30.0
    check_s: float = 20.0
    solve_s: float = 60.0
    body_s: float = 20.0
    queue: int = 256
    cache_bytes: int = 256 * 2**20
    keep_s: float = 14 * 86_400.0
    farm: bool = False


def default_state() -> Path:
    """Return where records lie if nothing else is said, by the XDG rules."""
    home = os.environ.get("XDG_STATE_HOME") or str(Path.home() / ".local" / "state")
    return Path(home) / "carrellata"
