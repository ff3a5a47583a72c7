"""A farm on one machine ends with its keeper, and a folder has one at a time."""

import fcntl
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

from carrellata.worker.farm.local_farm import locked

KEEPER = """
import sys, time
from pathlib import Path
from carrellata.worker.farm import local_farm
folder = Path(sys.argv[1])
local_farm._lock[:] = [local_farm.locked(folder, 0.0)]
words = [sys.executable, "-c", "import time; time.sleep(600)"]
part = local_farm.Part(name="part", words=words, log=folder / "part.log")
part.start({})
print(part.process.pid, flush=True)
time.sleep(600)
"""


def test_a_part_ends_with_its_keeper_and_holds_the_folder_until_then(
    tmp_path: Path,
) -> None:
    words = [sys.executable, "-c", KEEPER, str(tmp_path)]
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True) as keeper:
        assert keeper.stdout is not None
        part = int(keeper.stdout.readline())
        assert locked(tmp_path, 0.0) is None
        keeper.send_signal(signal.SIGKILL)
        keeper.wait()
    for _ in range(600):
        if not Path(f"/proc/{part}").exists():
            break
        time.sleep(0.1)
    assert not Path(f"/proc/{part}").exists()
    descriptor = locked(tmp_path, 5.0)
    assert descriptor is not None
    os.close(descriptor)


def test_a_folder_is_locked_as_long_as_any_part_has_its_lock(tmp_path: Path) -> None:
    descriptor = locked(tmp_path, 0.0)
    assert descriptor is not None
    words = [sys.executable, "-c", "import sys; sys.stdin.read()"]
    with subprocess.Popen(words, stdin=subprocess.PIPE, pass_fds=[descriptor]) as part:
        os.close(descriptor)  # as when its keeper is gone
        assert locked(tmp_path, 0.0) is None
        assert part.stdin is not None
        part.stdin.close()
        part.wait()
    again = locked(tmp_path, 0.0)
    assert again is not None
    fcntl.flock(again, fcntl.LOCK_UN)
    os.close(again)
