"""The client: one file, no packages, patient with a busy service, and no further."""

import ast
import json
import shutil
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from typing import Any

import pyarrow as pa
import pytest
from job_files import metre_job
from service_process import Service, running, walk_job, walk_shot

from carrellata.worker import client as client_module
from carrellata.worker.client import (
    ARROW,
    BusyError,
    Client,
    JobRefusedError,
    LateError,
    NotThereError,
    TokenError,
    UnreachableError,
)

SOURCE = Path(client_module.__file__)
OLDEST = (3, 9)

BARE = """
import json, sys
sys.path.insert(0, sys.argv[1])
import client
asks = client.Client(sys.argv[2], sys.argv[3])
with open(sys.argv[4]) as file:
    job = json.load(file)
take = asks.take(job)
batch = asks.submit(job)
rows = list(batch.shots())
same = batch.take(rows[0]["shot"])
asks.close()
print(json.dumps({
    "rows": take.rows,
    "same": same.columns == take.columns,
    "state": batch.wait()["state"],
    "loaded": [name for name in sys.modules if name.split(".")[0] in
               ("numpy", "pyarrow", "pydantic", "carrellata")],
}))
"""


def test_the_client_works_in_a_bare_interpreter(
    service: Service, tmp_path: Path
) -> None:
    shutil.copy(SOURCE, tmp_path / "client.py")
    (tmp_path / "job.json").write_text(json.dumps(walk_job(36) | {"seed": 3}))
    words = [tmp_path, service.address, service.tokens["north"], tmp_path / "job.json"]
    done = subprocess.run(
        [sys.executable, "-I", "-S", "-W", "error", "-c", BARE, *map(str, words)],
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    assert found == {"rows": 36, "same": True, "state": "done", "loaded": []}


def test_the_client_is_written_in_the_oldest_python_it_names() -> None:
    tree = ast.parse(SOURCE.read_text(encoding="utf-8"), feature_version=OLDEST)
    imported = {
        name.split(".")[0]
        for node in ast.walk(tree)
        for name in (
            [alias.name for alias in node.names]
            if isinstance(node, ast.Import)
            else [node.module or ""]
            if isinstance(node, ast.ImportFrom)
            else []
        )
    }
    assert imported <= sys.stdlib_module_names
    # Arguments that came later than that.
    later = {"slots", "kw_only", "strict"}
    given = {
        keyword.arg
        for node in ast.walk(tree)
        if isinstance(node, ast.Call)
        for keyword in node.keywords
    }
    assert not later & given


def test_errors_have_types_and_say_where(service: Service) -> None:
    asks = service.client()
    with pytest.raises(JobRefusedError) as refused:
        asks.take(walk_job(lens_mm=45))
    assert refused.value.status == 422
    assert refused.value.faults == [
        ("shots[0].lens_mm", "45 mm is not in the kit (25, 50, 100)")
    ]
    assert str(refused.value).startswith("shots[0].lens_mm: 45 mm")
    with pytest.raises(NotThereError):
        asks.batch("0" * 32).status()
    with (
        Client(service.address, "crl_" + "x" * 43) as stranger,
        pytest.raises(TokenError),
    ):
        stranger.schema()
    assert "crl_" not in repr(asks)


def test_a_take_that_takes_long_is_waited_for(service: Service) -> None:
    asks = service.client()
    assert asks.take(walk_job(3000) | {"seed": 8}, wait_s=0.0).rows == 3000
    with pytest.raises(LateError):
        asks.take(walk_job(3000) | {"seed": 9}, wait_s=0.0, longest_s=-1.0)


def test_bytes_come_in_the_form_asked_for(service: Service) -> None:
    body = service.client().take_bytes(walk_job(33), form=ARROW)
    assert pa.ipc.open_stream(body).read_all().num_rows == 33


def test_lenses_and_schema_are_there(service: Service) -> None:
    asks = service.client()
    rows = asks.lenses(kit="25,50", height_m=1.8)["lenses"]
    assert [row["lens_mm"] for row in rows] == [25, 50]
    assert asks.schema()["title"] == "Carrellata job"
    with pytest.raises(JobRefusedError, match="--kit"):
        asks.lenses(kit="none")


def test_a_batch_is_cancelled(service: Service) -> None:
    shots = [walk_shot(f"{k:03d}", 400) for k in range(100)]
    batch = service.client().submit(metre_job(*shots, sequence="client_cancel"))
    next(batch.shots())
    batch.cancel()
    assert batch.wait(longest_s=30)["state"] == "cancelled"


@pytest.mark.slow
def test_progress_goes_on_over_a_restart_of_the_service(tmp_path: Path) -> None:
    shots = [walk_shot(f"{k:03d}", 300) for k in range(20)]
    with running(tmp_path) as service:
        client = service.client()
        client.attempts = 100  # however long this machine takes to start it again
        batch = client.submit(metre_job(*shots, sequence="over"))
        names = []
        port = service.address.rpartition(":")[2]
        service.words = (*service.words, "--port", port)  # the last one counts
        for row in batch.shots():
            names.append(row["shot"])
            if len(names) == 3:
                service.stop()
                threading.Thread(target=service.start).start()
        assert sorted(names) == [f"{k:03d}" for k in range(20)]
        # A client that was itself started anew asks for what it has not seen.
        later = service.client().batch(batch.id)
        rest = [row["shot"] for row in later.shots(after=15)]
        assert rest == names[15:]
        assert "Traceback" not in service.log


@contextmanager
def scripted(*answers: tuple[int, dict[str, str], bytes]) -> Iterator[Any]:
    """A service that gives these answers in turn; a status of 0 hangs up."""
    asked: list[tuple[str, str, dict[str, str], bytes]] = []
    left = list(answers)

    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def answer(self) -> None:
            size = int(self.headers.get("Content-Length", 0))
            body = self.rfile.read(size)
            asked.append((self.command, self.path, dict(self.headers), body))
            status, headers, content = left.pop(0)
            if status == 0:
                self.close_connection = True
                return
            self.send_response(status)
            for name, value in headers.items():
                self.send_header(name, value)
            self.send_header("Content-Length", str(len(content)))
            self.end_headers()
            self.wfile.write(content)

        do_GET = do_POST = do_DELETE = answer

        def log_message(self, *_: object) -> None:
            pass

    server = HTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever, args=(0.01,))
    thread.start()
    server.asked = asked  # type: ignore[attr-defined]
    try:
        yield server
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


def address_of(server: Any) -> str:
    return f"http://127.0.0.1:{server.server_port}"


def problem(code: str) -> bytes:
    return json.dumps({"code": code, "detail": code}).encode()


ACCEPTED = (202, {}, b'{"id": "abc"}')


def test_a_submission_is_sent_again_under_the_same_key() -> None:
    busy = (503, {"Retry-After": "0"}, problem("busy"))
    gone = (0, {}, b"")
    with scripted(busy, gone, ACCEPTED) as server:
        with Client(address_of(server), "token") as asks:
            batch = asks.submit({"a": 1})
        assert batch.id == "abc"
        keys = {headers["Idempotency-Key"] for _, _, headers, _ in server.asked}
        assert len(server.asked) == 3
        assert len(keys) == 1


def test_two_submissions_have_two_keys() -> None:
    with scripted(ACCEPTED, ACCEPTED) as server:
        with Client(address_of(server), "token") as asks:
            asks.submit({"a": 1})
            asks.submit({"a": 1})
        keys = {headers["Idempotency-Key"] for _, _, headers, _ in server.asked}
        assert len(keys) == 2


@pytest.mark.parametrize("status", [400, 401, 403, 404, 409, 413, 422, 500])
def test_a_refusal_is_not_sent_again(status: int) -> None:
    with scripted((status, {}, problem("no"))) as server:
        with (
            Client(address_of(server), "token") as asks,
            pytest.raises(client_module.RefusedError),
        ):
            asks.take({})
        assert len(server.asked) == 1


def test_a_service_that_stays_busy_is_given_up() -> None:
    busy = (429, {"Retry-After": "0"}, problem("rate"))
    with scripted(busy, busy, busy) as server:
        with (
            Client(address_of(server), "token", attempts=3) as asks,
            pytest.raises(BusyError),
        ):
            asks.schema()
        assert len(server.asked) == 3


def test_a_service_that_is_not_there_is_unreachable() -> None:
    with pytest.raises(UnreachableError, match="does not answer"):
        Client("http://127.0.0.1:9", "token", attempts=2).schema()


def test_the_token_is_not_sent_where_an_answer_points() -> None:
    away = (202, {"Location": "http://elsewhere.example/v1/takes/1"}, b"")
    with (
        scripted(away) as server,
        Client(address_of(server), "token") as asks,
        pytest.raises(UnreachableError, match="points elsewhere"),
    ):
        asks.take({})


def test_a_prefix_of_a_proxy_is_kept() -> None:
    with scripted((200, {}, b"{}")) as server:
        with Client(address_of(server) + "/layout/", "token") as asks:
            asks.schema()
        assert server.asked[0][1] == "/layout/v1/schema"


@pytest.mark.parametrize("address", ["127.0.0.1:80", "ftp://x", "http://", ""])
def test_an_address_that_is_none_is_refused(address: str) -> None:
    with pytest.raises(ValueError, match="must be http"):
        Client(address, "token")


def test_the_environment_is_not_asked() -> None:
    # A copied file must not depend on how the tool around it was started.
    assert "environ" not in SOURCE.read_text(encoding="utf-8")
