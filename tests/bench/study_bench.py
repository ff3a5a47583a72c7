"""How long the audit of a thousand cameras takes: `python -m bench.study_bench`.

Half of them aim exactly, half are crews' takes, ten seconds each, on sticks and tracks;
`PYTHONPATH=tests` and the test data are needed. Prints the figure; nothing is asserted.
"""

import sys
import tempfile
import time
from pathlib import Path

from studied import taken
from study_files import (
    columns,
    exact_columns,
    subject_entry,
    write_columns,
    write_study,
)

from carrellata.jobs.study.run import study_all
from carrellata.jobs.study.spec import load_study

CAMERAS = 1000
WORKERS = 2
FEW = 100


def main() -> None:
    """Write the cameras, study them in two processes, and print the time."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        entry = subject_entry(folder, "referee_turns", 260)
        tables = [exact_columns(seconds=10.0)]
        tables += [
            columns(taken("referee_turns", rig, seconds=10.0).camera)
            for rig in ("sticks", "track", "arc")
        ]
        for k, values in enumerate(tables):
            write_columns(folder / f"{k}.parquet", values)
        cameras = [
            {"name": f"c{k}", "file": f"{k % len(tables)}.parquet", "subject": entry}
            for k in range(CAMERAS)
        ]
        file = load_study(write_study(folder, *cameras))
        start = time.perf_counter()
        found = study_all(file, folder, fit=False, workers=WORKERS)
        seconds = time.perf_counter() - start
        # Once more in this process: that of workers is not to be had from here.
        few = file.model_copy(update={"cameras": file.cameras[:FEW]})
        before = time.process_time()
        study_all(few, folder, fit=False, workers=1)
        busy = (time.process_time() - before) * CAMERAS / FEW
    failed = sum(bool(one.faults) for one in found)
    sys.stdout.write(
        f"{CAMERAS} cameras of 10 s audited by {WORKERS} processes in {seconds:.1f} s "
        f"of wall and {busy:.1f} s of processor, {failed} failed\n"
    )


if __name__ == "__main__":
    main()
