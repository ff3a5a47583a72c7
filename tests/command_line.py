"""The commands: in this process, and as their users run them."""

import contextlib
import io
import os
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any, NamedTuple

from carrellata.worker.cli import main

COMMAND = (sys.executable, "-m", "carrellata.worker.cli")
INTERRUPTIBLE = ("env", "--default-signal=INT")
"""Before a command: it can be interrupted, whatever the shell that runs the tests does.

What a shell starts in the background ignores interrupts, and so would its children.
"""
DIES_WITH_US = ("setpriv", "--pdeathsig", "KILL", "--")
"""Before a command: it is killed when the process that started it ends."""
PATIENCE_S = 300.0
"""Within this every command ends, also on a machine that has much else to do [s]."""


class Ended(NamedTuple):
    """How a command ended: exit code, standard output, standard error."""

    code: int
    out: str
    err: str


def run(*words: object, folder: Path | None = None) -> Ended:
    """Run a command in this process, which costs no start.

    Args:
        words: after the name of the program.
        folder: where it runs; None for where this process does.
    """
    out, err = io.StringIO(), io.StringIO()
    ends = signal.getsignal(signal.SIGTERM)
    try:
        with contextlib.ExitStack() as stack:
            if folder is not None:
                stack.enter_context(contextlib.chdir(folder))
            stack.enter_context(contextlib.redirect_stdout(out))
            stack.enter_context(contextlib.redirect_stderr(err))
            code = main([str(word) for word in words])
    finally:
        signal.signal(signal.SIGTERM, ends)
    return Ended(code, out.getvalue(), err.getvalue())


def run_apart(*words: object, **options: Any) -> Ended:
    """Run a command in a process of its own, in which a warning is an error."""
    done = subprocess.run(
        [*COMMAND, *map(str, words)],
        capture_output=True,
        text=True,
        timeout=PATIENCE_S,
        check=False,
        env=os.environ | {"PYTHONWARNINGS": "error"} | options.pop("env", {}),
        **options,
    )
    return Ended(done.returncode, done.stdout, done.stderr)


def start(*words: object) -> subprocess.Popen[str]:
    """Start a command in a process group of its own, as a terminal would."""
    return subprocess.Popen(
        [*INTERRUPTIBLE, *COMMAND, *map(str, words)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
