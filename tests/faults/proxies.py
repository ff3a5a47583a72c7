"""A way to a server that can go silent: bytes stop, and nobody is told."""

import socket
import threading
import time


class Proxy:
    """Hands on bytes between a port of its own and a server, until it is stalled.

    A stalled one takes connections and bytes and says nothing, as a network does in
    which packets are dropped. Who notices the silence makes another connection:
    `n_taken` counts them.
    """

    def __init__(self, port: int) -> None:
        self._target = port
        self._open = threading.Event()
        self._open.set()
        self._ended = threading.Event()
        self.n_taken = 0
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listener.getsockname()[1]
        threading.Thread(target=self._accept, daemon=True).start()

    @property
    def address(self) -> str:
        return f"redis://127.0.0.1:{self.port}/0"

    def stall(self) -> None:
        self._open.clear()

    def heal(self) -> None:
        self._open.set()

    def close(self) -> None:
        self._ended.set()
        self._open.set()
        self._listener.close()

    def _accept(self) -> None:
        while not self._ended.is_set():
            try:
                near, _ = self._listener.accept()
            except OSError:
                time.sleep(0.05)
                continue
            try:
                far = socket.create_connection(("127.0.0.1", self._target))
            except OSError:  # the server is down
                near.close()
                continue
            self.n_taken += 1
            for source, sink in ((near, far), (far, near)):
                threading.Thread(
                    target=self._hand_on, args=(source, sink), daemon=True
                ).start()

    def _hand_on(self, source: socket.socket, sink: socket.socket) -> None:
        try:
            while data := source.recv(65536):
                self._open.wait()
                sink.sendall(data)
        except OSError:
            pass
        for end in (source, sink):
            end.close()
