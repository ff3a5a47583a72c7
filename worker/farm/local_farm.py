"""A whole farm on this machine, kept running by one process.

    python -m carrellata.worker.farm.local_farm start FOLDER SERVER ROOT
    python -m carrellata.worker.farm.local_farm stop FOLDER

Server, workers of both pools, sweeper. All lies in FOLDER: the server's data, logs, the
batches' records, and `env`, which a shell reads to use the farm. The server listens on
this machine only, under a password that is made once and kept in that folder.
"""

import ctypes
import fcntl
import os
import secrets
import shlex
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

from redis import Redis
from redis.exceptions import RedisError

from ...jobs.errors import CarrellataError, ServiceError, exit_code
from ...jobs.processes.pool import n_processors

_START_S, _STOP_S, _RESTART_S = 60.0, 30.0, 1.0
_DEATH_SIGNAL = 1  # PR_SET_PDEATHSIG of Linux
_READY = '"message": "ready"'


@dataclass(kw_only=True, slots=True)
class Part:
    """One process of the farm, started again whenever it ends."""

    name: str
    words: list[str]
    log: Path
    process: "subprocess.Popen[bytes] | None" = None
    started_s: float = 0.0

    def start(self, environment: dict[str, str]) -> None:
        """Start it; its output is added to its log."""
        self.started_s = time.monotonic()
        with self.log.open("ab") as stream:
            self.process = subprocess.Popen(
                self.words,
                env=environment,
                stdin=subprocess.DEVNULL,
                stdout=stream,
                stderr=stream,
                start_new_session=True,  # an interrupt at the keyboard is ours
                preexec_fn=_end_with_keeper,
                pass_fds=_lock,  # a farm runs as long as any part of it does
            )

    @property
    def alive(self) -> bool:
        """Whether it runs."""
        return self.process is not None and self.process.poll() is None

    def stop(self) -> None:
        """Ask it to end, then make it."""
        if self.process is None or not self.alive:
            return
        self.process.terminate()
        try:
            self.process.wait(_STOP_S)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()


@dataclass(kw_only=True, slots=True)
class LocalFarm:
    """The farm in a folder.

    Attributes:
        folder: holds all of it.
        server: program of the server.
        port: that the server listens on, on this machine only.
        root: below which jobs are read and takes are written.
    """

    folder: Path
    server: str
    port: int
    root: Path
    _parts: list[Part] = field(default_factory=list)
    _stopped: bool = False

    def run(self) -> None:
        """Start everything, say where it is, and keep it running until told to stop.

        Raises:
            ServiceError: a part does not start.
        """
        self.folder.mkdir(parents=True, exist_ok=True)
        environment = self._environment()
        server = self._part("server", [self.server, str(self._configuration())])
        try:
            server.start(environment)
            self._wait("server", self._answers)
            n_batch = max(1, n_processors() - 1)
            self._command("batch", "worker", "--processes", str(n_batch))
            self._command(
                "interactive", "worker", "--pool", "interactive", "--processes", "1"
            )
            metrics = free_port()
            self._command("sweeper", "sweeper", "--metrics", str(metrics))
            for part in self._parts[1:]:
                part.log.unlink(missing_ok=True)
                part.start(environment)
            for part in self._parts[1:3]:
                self._wait(part.name, partial(_says_ready, part))
            self._say(metrics)
            self._keep(environment)
        finally:
            for part in reversed(self._parts):
                part.stop()
            (self.folder / "pid").unlink(missing_ok=True)

    def stop(self) -> None:
        """Have `run` come to its end."""
        self._stopped = True

    def _keep(self, environment: dict[str, str]) -> None:
        while not self._stopped:
            time.sleep(0.2)
            for part in self._parts:
                young = time.monotonic() - part.started_s < _RESTART_S
                if not part.alive and not young:
                    print(f"farm: {part.name} ended, started again", flush=True)
                    part.start(environment)

    def _part(self, name: str, words: list[str]) -> Part:
        part = Part(name=name, words=words, log=self.folder / f"{name}.log")
        self._parts.append(part)
        return part

    def _command(self, name: str, *words: str) -> Part:
        python = [sys.executable, "-m", "carrellata.worker.cli"]
        return self._part(name, [*python, *words])

    def _settings(self) -> dict[str, str]:
        address = f"redis://:{self._password()}@127.0.0.1:{self.port}/0"
        given = {
            "CARRELLATA_BROKER": address,
            "CARRELLATA_ROOTS": str(self.root),
            "CARRELLATA_SPOOL": str(self.folder / "spool"),
        }
        # What the caller has set holds, but for the broker, which is this one.
        kept = {k: v for k, v in os.environ.items() if k.startswith("CARRELLATA_")}
        return {**given, **kept, "CARRELLATA_BROKER": address}

    def _environment(self) -> dict[str, str]:
        settings = self._settings()
        lines = [f"export {k}={shlex.quote(v)}\n" for k, v in sorted(settings.items())]
        commands = shlex.quote(str(Path(sys.executable).parent))
        lines.append(f'export PATH={commands}:"$PATH"\n')
        path = self.folder / "env"
        path.touch(mode=0o600)
        path.write_text("".join(lines))
        return {**os.environ, **settings}

    def _configuration(self) -> Path:
        """Write the server's configuration and return where it lies."""
        data = self.folder / "data"
        data.mkdir(exist_ok=True)
        path = self.folder / "server.conf"
        path.touch(mode=0o600)
        path.write_text(
            "bind 127.0.0.1\n"
            f"port {self.port}\n"
            f'dir "{data}"\n'
            f"requirepass {self._password()}\n"
            "appendonly yes\n"
            "appendfsync everysec\n"
            'save ""\n'
            "maxmemory 256mb\n"
            "maxmemory-policy noeviction\n"
        )
        return path

    def _password(self) -> str:
        path = self.folder / "password"
        if not path.exists():
            path.touch(mode=0o600)
            path.write_text(secrets.token_hex(16))
        return path.read_text()

    def _answers(self) -> bool:
        try:
            with Redis(port=self.port, password=self._password()) as client:
                return bool(client.ping())
        except RedisError:
            return False

    def _wait(self, name: str, done: Callable[[], bool]) -> None:
        end = time.monotonic() + _START_S
        while not done():
            part = next(one for one in self._parts if one.name == name)
            if not part.alive or time.monotonic() > end or self._stopped:
                message = f"the {name} does not start; see {part.log}"
                raise ServiceError(message)
            time.sleep(0.05)

    def _say(self, metrics: int) -> None:
        print(f"farm: Redis listens on 127.0.0.1:{self.port}")
        print(f"farm: metrics at http://127.0.0.1:{metrics}/metrics")
        for part in self._parts:
            assert part.process is not None
            print(f"farm: {part.name:<12} process {part.process.pid}, log {part.log}")
        print(f"farm: jobs and takes below {self.root}")
        print("farm: ready; in another shell:")
        print(f"  . {self.folder / 'env'}")
        print("  carrellata submit JOB -o OUT --wait", flush=True)


def free_port() -> int:
    """Return a port of this machine that nothing listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
    return port


def running(folder: Path) -> int | None:
    """Return the process that keeps a folder's farm; None where none does."""
    try:
        pid = int((folder / "pid").read_text())
        os.kill(pid, 0)
    except (OSError, ValueError):
        return None
    return pid


_lock: list[int] = []  # descriptor of the folder's lock, which every part inherits


def _end_with_keeper() -> None:
    """Have a part end when its keeper is killed; nothing else would stop it."""
    ctypes.CDLL(None).prctl(_DEATH_SIGNAL, signal.SIGTERM)


def locked(folder: Path, patience_s: float) -> int | None:
    """Return a descriptor that only one farm of a folder has; None where one runs.

    Args:
        folder: of the farm.
        patience_s: for the parts of one whose keeper was killed to end.
    """
    descriptor = os.open(folder / "lock", os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
    end = time.monotonic() + patience_s
    while True:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            if time.monotonic() > end:
                os.close(descriptor)
                return None
            time.sleep(0.1)
        else:
            return descriptor


def start(folder: Path, server: str, root: Path) -> int:
    """Run a farm until it is told to stop, and return the exit code."""
    if running(folder) is not None:
        print(f"farm: it runs already, process {running(folder)}", file=sys.stderr)
        return 2
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    descriptor = locked(folder, _STOP_S)
    if descriptor is None:
        print(
            "farm: parts of an earlier farm in this folder still run", file=sys.stderr
        )
        return 2
    _lock[:] = [descriptor]
    (folder / "pid").write_text(str(os.getpid()))
    port = int(os.environ.get("CARRELLATA_FARM_PORT", "0")) or free_port()
    farm = LocalFarm(folder=folder, server=server, port=port, root=root)
    for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
        signal.signal(number, lambda *_: farm.stop())
    try:
        farm.run()
    except CarrellataError as error:
        print(f"farm: {error}", file=sys.stderr)
        return exit_code(error)
    print("farm: stopped")
    return 0


def stop(folder: Path) -> int:
    """Stop the farm of a folder, wait until it has, and return the exit code."""
    pid = running(folder)
    if pid is None:
        print("farm: it does not run")
        return 0
    os.kill(pid, signal.SIGTERM)
    end = time.monotonic() + 5 * _STOP_S
    while running(folder) is not None:
        if time.monotonic() > end:
            print(f"farm: process {pid} does not end", file=sys.stderr)
            return 1
        time.sleep(0.1)
    print("farm: stopped")
    return 0


def main() -> int:
    """Run what the first word says."""
    word, folder, *rest = sys.argv[1:]
    where = Path(folder).resolve()
    if word == "stop":
        return stop(where)
    return start(where, rest[0], Path(rest[1]).resolve())


def _says_ready(part: Part) -> bool:
    return part.log.exists() and _READY in part.log.read_text(errors="replace")


if __name__ == "__main__":
    sys.exit(main())
