"""A worker whose shots misbehave as told, for tests that look at what becomes of them.

    python faulty_worker.py FAULTS worker ...

FAULTS is a JSON file: `journal`, a file to which each start of a shot is added;
`slow_s`, what each shot takes longer; `poison`, shots that kill their process; `hang`,
shots that never end; `crash_before_join`, a file that, while it is there, is removed
by the process that ends the last shot, which dies before it asks for the join;
`clock_s`, by how much this host's clock is wrong.
"""

import json
import os
import signal
import sys
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

FAULTS = json.loads(Path(sys.argv[1]).read_text())
_true_time = time.time
# Before anything takes hold of the clock.
time.time = lambda: _true_time() + FAULTS.get("clock_s", 0.0)

from carrellata.jobs.run import phases  # noqa: E402
from carrellata.worker import cli  # noqa: E402
from carrellata.worker.farm import machine  # noqa: E402


def main() -> int:
    faults = FAULTS
    unit = phases.TAKE.unit

    def misbehave(work: Any, spec: Any, given: Any) -> Any:
        line = json.dumps({"shot": spec.name, "at": time.time(), "pid": os.getpid()})
        with Path(faults["journal"]).open("a") as journal:
            journal.write(line + "\n")
        if spec.name in faults.get("poison", ()):
            os.kill(os.getpid(), signal.SIGKILL)
        if spec.name in faults.get("hang", ()):
            signal.signal(signal.SIGUSR1, signal.SIG_IGN)  # deaf, as native code is
            while True:
                time.sleep(1)
        time.sleep(faults.get("slow_s", 0.0))
        return unit(work, spec, given)

    phases.TAKE = replace(phases.TAKE, unit=misbehave)
    phases.PHASES = (*phases.PHASES[:-1], phases.TAKE)
    if "crash_before_join" in faults:
        _crash_before_join(Path(faults["crash_before_join"]))
    return cli.main(sys.argv[2:])


def _crash_before_join(armed: Path) -> None:
    def send_join(self: Any, batch: str, phase: Any) -> None:
        if armed.exists():
            armed.unlink()
            os.kill(os.getpid(), signal.SIGKILL)
        kept(self, batch, phase)

    kept = machine.Machine.send_join
    machine.Machine.send_join = send_join  # type: ignore[method-assign]


if __name__ == "__main__":
    sys.exit(main())
