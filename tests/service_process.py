"""A real service in a process of its own, and requests to it."""

import http.client
import json
import os
import re
import signal
import socket
import subprocess
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from http import HTTPStatus
from pathlib import Path
from select import select
from typing import Any
from urllib.parse import urlsplit

import numpy as np
from command_line import COMMAND, INTERRUPTIBLE, PATIENCE_S
from job_files import metre_job

from carrellata.worker.client import Client
from carrellata.worker.service.auth import new_token, token_entry

JSON_TYPE = {"Content-Type": "application/json"}
PROBLEM = "application/problem+json"
# A place on a machine, a module, or a trace.
TELLTALES = re.compile(
    r"/tmp|/home|/root|/usr|\.py\b|Traceback|carrellata\.|0x[0-9a-f]{6}"
)


@dataclass(frozen=True, kw_only=True)
class Reply:
    """What came back."""

    status: int
    headers: Mapping[str, str]
    body: bytes

    @property
    def json(self) -> Any:
        return json.loads(self.body)


@dataclass(kw_only=True)
class Service:
    """A service that runs, and the tokens of its projects."""

    folder: Path
    tokens: dict[str, str]
    words: tuple[str, ...] = ()
    environment: Mapping[str, str] = field(default_factory=dict)
    address: str = ""
    clients: list[Client] = field(default_factory=list, repr=False)
    process: "subprocess.Popen[str] | None" = field(default=None, repr=False)

    @property
    def root(self) -> Path:
        return self.folder / "root"

    @property
    def out(self) -> Path:
        return self.folder / "out"

    @property
    def log(self) -> str:
        return (self.folder / "log").read_text(encoding="utf-8")

    def start(self) -> None:
        with (self.folder / "log").open("a", encoding="utf-8") as log:
            places = {"state": "state", "out": "out", "tokens": "tokens.toml"}
            self.process = subprocess.Popen(
                [
                    *INTERRUPTIBLE,
                    *COMMAND,
                    *("serve", "--port", "0", *self.words),
                    *(f"--{name}={self.folder / at}" for name, at in places.items()),
                ],
                env={**os.environ, **self.environment},
                stdout=subprocess.PIPE,
                stderr=log,
                text=True,
                start_new_session=True,
            )
        assert self.process.stdout is not None
        assert select([self.process.stdout], [], [], PATIENCE_S)[0], self.log
        line = self.process.stdout.readline()
        assert line.startswith("listening on "), line + self.log
        self.address = line.split()[-1]

    def until_ready(self) -> None:
        """Wait until its processes are warm."""
        end = time.monotonic() + PATIENCE_S
        while self.ask("GET", "/readyz", project=None).status != HTTPStatus.OK:
            assert time.monotonic() < end, self.log
            time.sleep(0.1)

    def stop(self, number: signal.Signals = signal.SIGTERM) -> int:
        """End the service and return its exit code."""
        assert self.process is not None
        self.process.send_signal(number)
        code = self.process.wait(PATIENCE_S)
        assert self.process.stdout is not None
        self.process.stdout.close()
        return code

    def end(self) -> None:
        """End whatever is left of it."""
        for client in self.clients:
            client.close()
        if self.process is not None and self.process.poll() is None:
            with suppress(ProcessLookupError):
                os.kill(self.process.pid, signal.SIGTERM)
            self.process.wait(PATIENCE_S)
        if self.process is not None and self.process.stdout is not None:
            self.process.stdout.close()

    def ask(
        self,
        method: str,
        path: str,
        body: Any = None,
        *,
        project: str | None = "north",
        headers: Mapping[str, str] | None = None,
    ) -> Reply:
        """Send one request; tables are sent as JSON, bytes as they are."""
        given = {} if headers is None else dict(headers)
        if project is not None:
            given.setdefault("Authorization", f"Bearer {self.tokens[project]}")
        if body is not None and not isinstance(body, bytes):
            body = json.dumps(body).encode()
        if body is not None and headers is None:
            given |= JSON_TYPE
        connection = self.connect()
        try:
            connection.request(method, path, body, given)
            answer = connection.getresponse()
            names = {name.lower(): value for name, value in answer.getheaders()}
            return Reply(status=answer.status, headers=names, body=answer.read())
        finally:
            connection.close()

    def connect(self) -> http.client.HTTPConnection:
        return http.client.HTTPConnection(
            urlsplit(self.address).netloc, timeout=PATIENCE_S
        )

    def wire(self) -> socket.socket:
        """Return a connection on which bytes are sent as they are."""
        place = urlsplit(self.address)
        return socket.create_connection((place.hostname, place.port), PATIENCE_S)

    def head(self, n_bytes: int, project: str = "north") -> bytes:
        """Return the head of a request for a take with a body of so many bytes."""
        token = self.tokens[project]
        return (
            f"POST /v1/takes HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer {token}\r\n"
            f"Content-Type: application/json\r\nContent-Length: {n_bytes}\r\n\r\n"
        ).encode()

    def client(self, project: str = "north") -> Client:
        made = Client(self.address, self.tokens[project])
        self.clients.append(made)
        return made


@contextmanager
def running(
    folder: Path,
    projects: Mapping[str, str] | None = None,
    *words: str,
    environment: Mapping[str, str] | None = None,
    cold: bool = False,
) -> Iterator[Service]:
    """Run a service, and wait until its processes are warm.

    Args:
        folder: for its state, takes, log, and `root`, the subjects' files.
        projects: more lines of the entry in the file of tokens, by project.
        words: more options of `carrellata serve`.
        environment: more variables of its process.
        cold: do not wait.
    """
    tokens = {}
    text = ""
    for project, more in (projects or {"north": ""}).items():
        tokens[project] = new_token()
        text += token_entry(project, tokens[project]) + more + "\n"
    (folder / "tokens.toml").write_text(text, encoding="utf-8")
    (folder / "root").mkdir(exist_ok=True)
    options = ("--root", str(folder / "root"), *words)
    service = Service(
        folder=folder, tokens=tokens, words=options, environment=environment or {}
    )
    try:
        service.start()
        if not cold:
            service.until_ready()
        yield service
    finally:
        service.end()


def walk_samples(n_frames: int, *, first: int = 1001, seed: int = 0) -> dict[str, Any]:
    """Return inline samples of a walk along X with a little noise."""
    frames = np.arange(first, first + n_frames)
    noise = np.random.default_rng(seed).normal(0.0, 0.01, (2, n_frames))
    x = 1.4 * (frames - first) / 24.0 + noise[0]
    return {
        "frame": frames.tolist(),
        "x": x.tolist(),
        "y": [0.0] * n_frames,
        "z": noise[1].tolist(),
    }


def walk_shot(name: str = "010", n_frames: int = 48, **fields: Any) -> dict[str, Any]:
    """Return a shot that follows a walk on a track."""
    subject = {"name": "walker", "at": "floor", "height_m": 1.75}
    length_m = max(4.0, 1.4 * n_frames / 24.0)
    rig = {"kind": "track", "from": [0, 1.5, 9], "to": [length_m, 1.5, 9]}
    shot = {
        "name": name,
        "frames": [1001, 1000 + n_frames],
        "subjects": [subject | {"samples": walk_samples(n_frames)}],
        "rig": rig | {"hold": "abreast"},
        "shake": "shoulder",
    }
    return shot | fields


def walk_job(n_frames: int = 48, **fields: Any) -> dict[str, Any]:
    """Return a job of one shot, its samples inside."""
    return metre_job(walk_shot(n_frames=n_frames, **fields))


def assert_problem(reply: Reply, status: int, code: str) -> dict[str, Any]:
    """A problem of this status and code that says nothing it must not."""
    assert reply.status == status, reply.body
    assert reply.headers["content-type"] == PROBLEM
    assert reply.headers["cache-control"] == "no-store"
    found: dict[str, Any] = reply.json
    assert (found["status"], found["code"]) == (status, code)
    assert found["title"]
    assert found["detail"]
    assert TELLTALES.search(reply.body.decode()) is None, reply.body
    return found
