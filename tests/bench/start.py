"""How long a command takes to start, and the first one on a new machine."""

import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median

from .clock import paired
from .figures import Figure, Sizes
from .sequences import tracked

EXAMPLE = Path(__file__).parents[2] / "jobs/examples/ferry_dash"
COMMAND = Path(sys.executable).with_name("carrellata")


def run(sizes: Sizes) -> list[Figure]:
    """Time the commands as a shell does."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        cache = folder / "kernels"
        environment = os.environ | {"NUMBA_CACHE_DIR": str(cache)}
        # Installed modules are kept as bytecode; so are these once imported.
        environment.pop("PYTHONDONTWRITEBYTECODE", None)
        one = tracked(folder, 1)

        def call(*words: object) -> Callable[[], None]:
            def called() -> None:
                shutil.rmtree(folder / "out", ignore_errors=True)
                subprocess.run(
                    [COMMAND, *map(str, words)],
                    env=environment,
                    stdout=subprocess.DEVNULL,
                    check=True,
                )

            return called

        def first(job: Path) -> float:
            shutil.rmtree(cache, ignore_errors=True)
            start = time.perf_counter()
            call("solve", job, "-o", folder / "out")()
            return time.perf_counter() - start

        call("check", EXAMPLE / "choose.toml")()
        first_open = first(EXAMPLE / "choose.toml")
        first_given = first(EXAMPLE / "job.toml")
        call("solve", EXAMPLE / "choose.toml", "-o", folder / "out")()
        runs = {
            "nothing": lambda: subprocess.run([sys.executable, "-c", ""], check=True),
            "help": call("--help"),
            "check": call("check", EXAMPLE / "job.toml"),
            "one": call("solve", one, "-o", folder / "out"),
            "given": call("solve", EXAMPLE / "job.toml", "-o", folder / "out"),
            "open": call("solve", EXAMPLE / "choose.toml", "-o", folder / "out"),
        }
        taken = {name: median(s) for name, s in paired(runs, sizes.starts).items()}
    return [
        Figure(
            name="start_interpreter_s",
            value=taken["nothing"],
            unit="s",
            better="",
            note="python -c ''",
        ),
        Figure(name="start_help_s", value=taken["help"], unit="s", target=0.15),
        Figure(
            name="start_check_s",
            value=taken["check"],
            unit="s",
            target=0.5,
            note="the example's 12 shots",
        ),
        Figure(
            name="first_solve_s",
            value=first_given,
            unit="s",
            target=15.0,
            note="the example, no kernel compiled yet",
        ),
        Figure(
            name="first_open_solve_s",
            value=first_open,
            unit="s",
            target=15.0,
            note="the same with every setup open",
        ),
        Figure(
            name="second_solve_s",
            value=taken["one"],
            unit="s",
            target=1.0,
            note="a job of one shot",
        ),
        Figure(
            name="second_example_s",
            value=taken["given"],
            unit="s",
            note="the example's 12 shots with the review",
        ),
        Figure(name="second_open_example_s", value=taken["open"], unit="s"),
    ]
