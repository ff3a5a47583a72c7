"""A whole farm for tests: a real server, workers, a sweeper, and its client."""

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from command_line import DIES_WITH_US
from servers import Server
from walks import files_below, save_job

from carrellata.jobs.job.load import load_job
from carrellata.worker.farm.farm import BatchStatus, Farm, connect, status
from carrellata.worker.farm.settings import load_settings
from carrellata.worker.farm.submission import Submitted, submit

HERE = Path(__file__).parent
SHORT = {
    "TIME_LIMIT_S": "5",
    "VISIBILITY_TIMEOUT_S": "10",
    "RESTORE_INTERVAL_S": "1",
    "SWEEP_INTERVAL_S": "1",
}
PATIENCE_S = 120.0
"""For what must come, however loaded the machine is."""


def until(
    what: Callable[[], Any], *, seconds: float = PATIENCE_S, every_s: float = 0.02
) -> Any:
    """Return the first true value of `what`."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        value = what()
        if value:
            return value
        time.sleep(every_s)
    message = f"did not come about in {seconds:g} s"
    raise TimeoutError(message)


def children_of(pid: int) -> list[int]:
    """Return the processes that a process started and that are alive."""
    found = []
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            try:
                fields = (entry / "stat").read_text().rpartition(")")[2].split()
            except (FileNotFoundError, ProcessLookupError):
                continue
            if int(fields[1]) == pid and fields[0] != "Z":
                found.append(int(entry.name))
    return sorted(found)


class Process:
    """A command of ours in a process of its own, with its log."""

    def __init__(
        self,
        words: list[str],
        log: Path,
        environment: dict[str, str],
        host: tuple[str, ...] = (),
    ) -> None:
        """Start it; `host` are the words that run a command on another host."""
        self.log = log
        with log.open("wb") as stream:
            self.process = subprocess.Popen(
                [*DIES_WITH_US, *host, sys.executable, *words],
                env=os.environ | environment,
                stdout=stream,
                stderr=stream,
            )

    @property
    def pid(self) -> int:
        return self.process.pid

    @property
    def alive(self) -> bool:
        return self.process.poll() is None

    def lines(self) -> list[dict[str, Any]]:
        """Return the log's JSON lines."""
        found = []
        for line in self.log.read_text().splitlines():
            if line.startswith("{"):
                found.append(json.loads(line))
        return found

    def said(self, message: str) -> list[dict[str, Any]]:
        return [line for line in self.lines() if line["message"] == message]

    def wait_ready(self) -> None:
        # Kernels that have changed are compiled first.
        until(lambda: self.said("ready") or not self.alive, seconds=400)
        assert self.alive, self.log.read_text()

    def kill(self) -> None:
        self.process.kill()
        self.process.wait(20)

    def stop(self) -> None:
        if self.alive:
            self.process.terminate()
            try:
                self.process.wait(40)
            except subprocess.TimeoutExpired:
                self.kill()


class TestFarm:
    """A farm in a folder."""

    __test__ = False

    def __init__(
        self,
        folder: Path,
        *,
        tls: Path | None = None,
        address: str = "127.0.0.1",
        **settings: str,
    ) -> None:
        self.folder = folder
        self.server = Server(folder / "redis", tls=tls, host=address)
        self.server.start()
        self.address = self.server.address
        self.faults: dict[str, Any] = {"journal": str(folder / "journal")}
        self._settings = SHORT | settings
        self._processes: list[Process] = []
        (folder / "journal").touch()

    def environment(self) -> dict[str, str]:
        named = {f"CARRELLATA_{name}": value for name, value in self._settings.items()}
        own = {
            "CARRELLATA_BROKER": self.address,
            "CARRELLATA_ROOTS": str(self.folder),
            "CARRELLATA_SPOOL": str(self.folder / "spool"),
        }
        return own | named

    def farm(self, address: str | None = None) -> Farm:
        environment = self.environment()
        if address is not None:
            environment["CARRELLATA_BROKER"] = address
        return connect(load_settings(environment))

    def worker(
        self, *, pool: str = "batch", processes: int = 2, host: tuple[str, ...] = ()
    ) -> Process:
        """Start a worker that misbehaves as `faults` says, and wait for it."""
        n = len(self._processes)
        faults = self.folder / f"faults-{n}.json"
        faults.write_text(json.dumps(self.faults))
        words = [str(HERE / "faulty_worker.py"), str(faults), "worker"]
        words += ["--pool", pool, "--processes", str(processes), "--name", f"{pool}{n}"]
        started = self._start(words, f"{pool}-{n}.log", host)
        started.wait_ready()
        return started

    def sound_worker(self, *, processes: int = 2) -> Process:
        """Start a worker as it is installed, and wait for it."""
        words = ["-m", "carrellata.worker.cli", "worker", "--name", "sound"]
        started = self._start([*words, "--processes", str(processes)], "sound.log")
        started.wait_ready()
        return started

    def sweeper(self) -> Process:
        return self._start(["-m", "carrellata.worker.cli", "sweeper"], "sweeper.log")

    def run(self, *words: object) -> subprocess.CompletedProcess[str]:
        """Run a command as a person would."""
        return subprocess.run(
            [sys.executable, "-m", "carrellata.worker.cli", *map(str, words)],
            env=os.environ | self.environment(),
            capture_output=True,
            text=True,
            check=False,
            timeout=PATIENCE_S,
        )

    def job(self, tables: dict[str, Any], name: str = "in") -> Path:
        return save_job(self.folder / name, tables)

    def submit(self, job: Path, out: str = "out", **asked: Any) -> Submitted:
        where = self.folder / out
        return submit(self.farm(), load_job(job), folder=job.parent, out=where, **asked)

    def end(self, batch: str, *, seconds: float = PATIENCE_S) -> BatchStatus:
        """Wait until a batch has ended and return how."""
        farm = self.farm()
        until(lambda: status(farm, batch).closed, seconds=seconds, every_s=0.2)
        return status(farm, batch)

    def started(self) -> list[dict[str, Any]]:
        """Return all starts of shots so far."""
        lines = (self.folder / "journal").read_text().splitlines()
        return [json.loads(line) for line in lines]

    def takes(self, out: str = "out") -> dict[str, bytes]:
        return files_below(self.folder / out)

    def is_empty(self) -> bool:
        """Tell whether no message of a batch waits or is with a worker."""
        with self.server.client() as client:
            waiting = [client.llen(one) for one in ("batch", "joins")]
            return not any(waiting) and not client.hlen("unacked")

    def stop(self) -> None:
        for process in self._processes:
            if process.alive:
                process.process.send_signal(signal.SIGCONT)
                process.kill()
        self.server.stop()

    def _start(self, words: list[str], log: str, host: tuple[str, ...] = ()) -> Process:
        process = Process(words, self.folder / log, self.environment(), host)
        self._processes.append(process)
        return process
