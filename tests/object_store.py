"""A real S3 server for tests, spoken to over HTTP, and a way to it that can fail."""

import contextlib
import os
import socket
import subprocess
import sys
import threading
import time
import urllib.request
from pathlib import Path
from typing import Any

from command_line import DIES_WITH_US, PATIENCE_S
from faults.servers import free_port

from carrellata.jobs.places.objects import ObjectPath
from carrellata.jobs.places.place import place_of

INSTALLED = Path(__file__).parents[1] / ".venv/objectstore"
SECRET = "not-for-anybody"
CREDENTIALS = {
    "AWS_ACCESS_KEY_ID": "tester",
    "AWS_SECRET_ACCESS_KEY": SECRET,
    "AWS_EC2_METADATA_DISABLED": "true",
}


class Way:
    """Hands on bytes to a server from a port of its own, until it is broken."""

    def __init__(self, port: int) -> None:
        self._target = port
        self._open = threading.Event()
        self._open.set()
        self._sockets: list[socket.socket] = []
        self._left: int | None = None
        self._goes_down = True
        self.port = free_port()
        self._listener = self._listen()

    def stall(self) -> None:
        """Take what is sent and say nothing."""
        self._open.clear()

    def heal(self) -> None:
        self._open.set()

    def down(self) -> None:
        """Refuse connections, and drop those there are, as a dead server's host."""
        self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        for one in self._sockets:
            with contextlib.suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)
        self._sockets.clear()

    def up(self) -> None:
        self._left = None
        self._listener = self._listen()

    def cut_after(self, n_bytes: int, *, down: bool = True) -> None:
        """Drop a connection once so many more bytes have gone to the server.

        Args:
            n_bytes: over all connections.
            down: whether no other is taken until `up`.
        """
        self._left, self._goes_down = n_bytes, down

    def _listen(self) -> socket.socket:
        listener = socket.create_server(("127.0.0.1", self.port))
        threading.Thread(target=self._accept, args=(listener,), daemon=True).start()
        return listener

    def _accept(self, listener: socket.socket) -> None:
        while True:
            try:
                near, _ = listener.accept()
            except OSError:
                return
            far = socket.create_connection(("127.0.0.1", self._target))
            self._sockets += [near, far]
            for source, sink, out in ((near, far, True), (far, near, False)):
                threading.Thread(
                    target=self._hand_on, args=(source, sink, out), daemon=True
                ).start()

    def _hand_on(self, source: socket.socket, sink: socket.socket, out: bool) -> None:
        with contextlib.suppress(OSError):
            while data := source.recv(16384):
                self._open.wait()
                if out and self._left is not None:
                    self._left -= len(data)
                    if self._left < 0:
                        sink.sendall(data[: self._left])
                        self._left = None
                        if self._goes_down:
                            self.down()
                        break
                sink.sendall(data)
        for end in (source, sink):
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
            end.close()


class ObjectStore:
    """One server with one bucket, `night`, in a process of its own."""

    def __init__(self, log: Path) -> None:
        self.port = free_port()
        with log.open("wb") as stream:
            self._process = subprocess.Popen(
                [
                    *DIES_WITH_US,
                    sys.executable,
                    "-m",
                    "moto.server",
                    "-p",
                    str(self.port),
                ],
                env=os.environ | {"PYTHONPATH": str(INSTALLED)},
                stdout=stream,
                stderr=stream,
            )
        self._wait(log)
        self.way = Way(self.port)
        self.make_bucket("night")

    def empty(self) -> None:
        """Forget all that is stored and every refusal, and open another way."""
        self.allow()
        self._call("/moto-api/reset", method="POST", body=b"")
        self.make_bucket("night")
        self.way = Way(self.port)

    def options(self, port: int | None = None) -> str:
        return f"endpoint_override=127.0.0.1:{port or self.port}&scheme=http"

    def address(self, prefix: str, *, by_way: bool = False) -> str:
        """Return the address of a prefix, by the way that can break or directly."""
        options = self.options(self.way.port if by_way else None)
        return f"s3://night/{prefix}?{options}"

    def place(self, prefix: str, *, by_way: bool = False) -> ObjectPath:
        found = place_of(self.address(prefix, by_way=by_way), "test")
        assert isinstance(found, ObjectPath)
        return found

    def make_bucket(self, name: str) -> None:
        self._call(f"/{name}", method="PUT")

    def objects(self, prefix: str) -> dict[str, bytes]:
        """Return all objects below a prefix, by the rest of their names."""
        from pyarrow.fs import FileSelector, FileType, S3FileSystem

        system: Any = S3FileSystem(
            endpoint_override=f"127.0.0.1:{self.port}",
            scheme="http",
            region="us-east-1",
            access_key="reader",
            secret_key="any",
        )
        top = f"night/{prefix}"
        selector = FileSelector(top, recursive=True, allow_not_found=True)
        found = {}
        for one in system.get_file_info(selector):
            if one.type == FileType.File:
                with system.open_input_stream(one.path) as stream:
                    found[one.path.removeprefix(f"{top}/")] = stream.read()
        return found

    def deny(self) -> None:
        """Let nobody do anything from now on."""
        self._call("/moto-api/reset-auth", method="POST", body=b"0")

    def allow(self) -> None:
        """Ask nobody for permission again."""
        self._call("/moto-api/reset-auth", method="POST", body=b"inf")

    def stop(self) -> None:
        self._process.kill()
        self._process.wait(20)

    def _call(self, path: str, *, method: str, body: bytes | None = None) -> None:
        address = f"http://127.0.0.1:{self.port}{path}"
        plain = {"Content-Type": "text/plain"}
        request = urllib.request.Request(address, body, plain, method=method)
        urllib.request.urlopen(request, timeout=PATIENCE_S).close()

    def _wait(self, log: Path) -> None:
        assert INSTALLED.is_dir(), "sh deploy/test testdata installs the server"
        end = time.monotonic() + PATIENCE_S
        while time.monotonic() < end:
            with contextlib.suppress(OSError):
                socket.create_connection(("127.0.0.1", self.port)).close()
                return
            assert self._process.poll() is None, log.read_text()
            time.sleep(0.05)
        message = "the server does not answer"
        raise TimeoutError(message)
