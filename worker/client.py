"""A client of the service in one file: standard library, Python 3.9 and newer.

It may be copied into the scripts of any tool that runs Python. It needs the address
of a service and a token:

    client = Client("http://127.0.0.1:8791", token)
    take = client.take(job)                  # a job of one shot, as plain tables
    batch = client.submit(job)               # a job of many
    for row in batch.shots():                # as they are done
        ...

What can be sent twice without harm is sent again when the service is busy or gone for
a moment: a take is the same take, and a submission carries a key by which the service
knows it. A refusal is never sent again.

Over 400 lines, because one file is what can be copied.
"""

from __future__ import annotations

import http.client
import json
import random
import secrets
import ssl
import threading
import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import quote, urlencode, urlsplit

JSON = "application/json"
PARQUET = "application/vnd.apache.parquet"
ARROW = "application/vnd.apache.arrow.stream"

_BUSY = (429, 502, 503, 504)
_LONGEST_PAUSE_S = 10.0
_LONGEST_LINE = 64 * 2**20
_STREAM_S = 60.0  # the service says something every ten seconds


class ClientError(Exception):
    """Base of what this client raises."""


class UnreachableError(ClientError):
    """The service does not answer, or cut its answer short."""


class LateError(ClientError):
    """The take or batch was not there within the time that was given for it."""


class RefusedError(ClientError):
    """The service answered that it will not do what was asked.

    Attributes:
        status: of HTTP.
        code: one word that says why, for programs.
        detail: one sentence, for people.
        faults: (path, message) for each thing that is wrong with the job.
    """

    def __init__(self, status: int, problem: Mapping[str, Any]) -> None:
        """Keep what the problem says."""
        self.status = status
        self.code = str(problem.get("code", ""))
        self.detail = str(problem.get("detail", "no reason given"))
        listed = problem.get("faults") or []
        self.faults = [(str(one["path"]), str(one["message"])) for one in listed]
        lines = [": ".join(part for part in fault if part) for fault in self.faults]
        super().__init__("\n".join(lines) or self.detail)


class JobRefusedError(RefusedError):
    """The job or the data of its subjects is wrong; `faults` says where."""


class TokenError(RefusedError):
    """The token is not known, or may not do this."""


class NotThereError(RefusedError):
    """There is no such take, batch or shot for this token."""


class BusyError(RefusedError):
    """The service had too much to do, also when asked again."""


@dataclass(frozen=True)
class TakeData:
    """One take.

    Attributes:
        take_key: name of the take, the same wherever it was solved.
        rows: samples.
        columns: a list of `rows` values for each name; None where not finite.
        metadata: keys, units, setup, crew and measures.
    """

    take_key: str
    rows: int
    columns: dict[str, list[Any]]
    metadata: dict[str, Any]


@dataclass(frozen=True)
class _Answer:
    status: int
    headers: Mapping[str, str]
    body: bytes


@dataclass
class Client:
    """Asks one service.

    Attributes:
        address: `http://host:port` or `https://host/prefix`.
        token: of the service.
        timeout_s: longest silence of the service before it counts as gone.
        attempts: how often a request is sent at most.
    """

    address: str
    token: str = field(repr=False)
    timeout_s: float = 60.0
    attempts: int = 6

    def __post_init__(self) -> None:
        """Take the address apart.

        Raises:
            ValueError: it is no address of HTTP.
        """
        parts = urlsplit(self.address)
        if parts.scheme not in ("http", "https") or not parts.hostname:
            message = f"must be http://host:port or https://host, got {self.address!r}"
            raise ValueError(message)
        self._secure = parts.scheme == "https"
        self._host, self._port = parts.hostname, parts.port
        self._prefix = parts.path.rstrip("/")
        self._held = threading.local()

    def __enter__(self) -> Client:
        """Return the client; it is closed at the end of the block."""
        return self

    def __exit__(self, *_: object) -> None:
        """Close the connection."""
        self.close()

    def take(
        self, job: Mapping[str, Any], *, wait_s: float = 10.0, longest_s: float = 600.0
    ) -> TakeData:
        """Return the take of a job of one shot, however long it is solved.

        Args:
            job: plain tables, as in a job file.
            wait_s: how long one request waits.
            longest_s: until the take has to be there.

        Raises:
            JobRefusedError: the job is wrong.
            LateError: it was not there in time.
            ServiceError: anything else went wrong.
        """
        return _take(self._take(job, JSON, wait_s, longest_s))

    def take_bytes(
        self,
        job: Mapping[str, Any],
        *,
        form: str = PARQUET,
        wait_s: float = 10.0,
        longest_s: float = 600.0,
    ) -> bytes:
        """Return a take as the bytes of a Parquet file or an Arrow stream.

        Raises:
            ServiceError: as `take`.
        """
        return self._take(job, form, wait_s, longest_s).body

    def submit(self, job: Mapping[str, Any], *, key: str | None = None) -> Batch:
        """Submit a job of any number of shots.

        Args:
            job: plain tables, as in a job file.
            key: the same key and job are one batch; None makes a fresh one.

        Raises:
            JobRefusedError: the job is wrong; nothing was submitted.
            ServiceError: anything else went wrong.
        """
        headers = {"Idempotency-Key": key or secrets.token_hex(16)}
        answer = self._request("POST", "/v1/batches", job, headers)
        return Batch(self, str(json.loads(answer.body)["id"]))

    def batch(self, name: str) -> Batch:
        """Return a batch by its id; it is asked for when it is used."""
        return Batch(self, name)

    def lenses(self, **options: float | str) -> dict[str, Any]:
        """Return what each lens of a kit shows; options as of `carrellata lenses`."""
        return self._json(f"/v1/lenses?{urlencode(options)}")

    def schema(self) -> dict[str, Any]:
        """Return the JSON Schema of the job."""
        return self._json("/v1/schema")

    def close(self) -> None:
        """Close this thread's connection; the next request opens another."""
        connection = getattr(self._held, "connection", None)
        if connection is not None:
            connection.close()
            self._held.connection = None

    def _json(self, path: str) -> dict[str, Any]:
        found: dict[str, Any] = json.loads(self._request("GET", path).body)
        return found

    def _take(
        self, job: Mapping[str, Any], form: str, wait_s: float, longest_s: float
    ) -> _Answer:
        until = time.monotonic() + longest_s
        path = f"/v1/takes?wait={wait_s:g}"
        headers = {"Accept": form}
        answer = self._request("POST", path, job, headers)
        while answer.status == 202:
            if time.monotonic() > until:
                message = f"the take was not there within {longest_s:g} s"
                raise LateError(message)
            place = f"{_local(answer.headers['location'])}?wait={wait_s:g}"
            try:
                answer = self._request("GET", place, None, headers)
            except NotThereError:  # the service was started anew
                answer = self._request("POST", path, job, headers)
        return answer

    def _request(
        self,
        method: str,
        path: str,
        job: Mapping[str, Any] | None = None,
        headers: Mapping[str, str] | None = None,
    ) -> _Answer:
        """Send a request, again where that is safe and may help."""
        body = None if job is None else json.dumps(job).encode()
        gone: Exception | None = None
        answer = None
        for attempt in range(self.attempts):
            if attempt:
                time.sleep(_pause_s(attempt, answer))
            try:
                answer = self._send(method, path, body, headers or {})
            except (OSError, http.client.HTTPException) as error:
                self.close()
                answer, gone = None, error
                continue
            if not _may_help(answer):
                break
        if answer is None:
            message = f"{self.address} does not answer: {gone}"
            raise UnreachableError(message) from gone
        if answer.status >= 300:
            raise _refused(answer)
        return answer

    def _send(
        self, method: str, path: str, body: bytes | None, headers: Mapping[str, str]
    ) -> _Answer:
        connection = getattr(self._held, "connection", None)
        if connection is None:
            connection = self._held.connection = self._connect(self.timeout_s)
        connection.request(method, self._prefix + path, body, self._headers(headers))
        response = connection.getresponse()
        answer = _Answer(response.status, _lower(response), response.read())
        if response.will_close:
            self.close()
        return answer

    def _connect(self, timeout_s: float) -> http.client.HTTPConnection:
        if not self._secure:
            return http.client.HTTPConnection(self._host, self._port, timeout=timeout_s)
        return http.client.HTTPSConnection(
            self._host,
            self._port,
            timeout=timeout_s,
            context=ssl.create_default_context(),
        )

    def _headers(self, more: Mapping[str, str]) -> dict[str, str]:
        return {
            "Authorization": f"Bearer {self.token}",
            "Content-Type": JSON,
            "Accept": JSON,
            **more,
        }


@dataclass(frozen=True)
class Batch:
    """A batch of a service.

    Attributes:
        client: that asks for it.
        id: of the batch.
    """

    client: Client = field(repr=False)
    id: str

    def status(self) -> dict[str, Any]:
        """Return how it stands: state, counts, failed shots."""
        return self.client._json(self._path)

    def shots(self, *, after: int = 0) -> Iterator[dict[str, Any]]:
        """Yield the row of every shot as it is done, to the end of the batch.

        A connection that is lost is made again, and no row comes twice.

        Args:
            after: rows that are known already.
        """
        seen, failures = after, 0
        while True:
            try:
                for name, number, value in self._events(seen):
                    failures = 0
                    if name == "shot":
                        seen = number
                        yield value
                    elif name == "end":
                        return
            except (OSError, http.client.HTTPException, BusyError) as error:
                failures += 1
                if failures >= self.client.attempts:
                    message = f"{self.client.address} does not answer: {error}"
                    raise UnreachableError(message) from error
            time.sleep(_pause_s(failures + 1, None))

    def wait(self, *, longest_s: float = 86_400.0) -> dict[str, Any]:
        """Return how it stands once it has ended.

        Raises:
            LateError: it had not ended in time.
        """
        until = time.monotonic() + longest_s
        pause_s = 0.05
        while True:
            found = self.status()
            if found["state"] in ("done", "failed", "cancelled"):
                return found
            if time.monotonic() > until:
                message = f"batch {self.id} had not ended within {longest_s:g} s"
                raise LateError(message)
            time.sleep(pause_s)
            pause_s = min(2.0, 1.5 * pause_s)

    def cancel(self) -> dict[str, Any]:
        """Cancel it; takes that are done stay."""
        answer = self.client._request("DELETE", self._path)
        found: dict[str, Any] = json.loads(answer.body)
        return found

    def take(self, shot: str) -> TakeData:
        """Return the take of a shot."""
        return _take(self._fetch(shot, JSON))

    def take_bytes(self, shot: str, *, form: str = PARQUET) -> bytes:
        """Return the take of a shot as the bytes of a file."""
        return self._fetch(shot, form).body

    @property
    def _path(self) -> str:
        return f"/v1/batches/{quote(self.id, safe='')}"

    def _fetch(self, shot: str, form: str) -> _Answer:
        path = f"{self._path}/shots/{quote(shot, safe='')}"
        return self.client._request("GET", path, None, {"Accept": form})

    def _events(self, after: int) -> Iterator[tuple[str, int, dict[str, Any]]]:
        """Yield (name, number, value) until the connection ends."""
        client = self.client
        connection = client._connect(_STREAM_S)
        headers = {"Accept": "text/event-stream", "Last-Event-ID": str(after)}
        try:
            path = f"{client._prefix}{self._path}/events"
            connection.request("GET", path, None, client._headers(headers))
            response = connection.getresponse()
            if response.status != 200:
                answer = _Answer(response.status, _lower(response), response.read())
                raise _refused(answer)
            event: dict[str, str] = {}
            while True:
                line = response.readline(_LONGEST_LINE).decode()
                if not line:
                    return
                name, _, value = line.rstrip("\r\n").partition(":")
                if name:
                    event[name] = value.lstrip(" ")
                elif "event" in event:
                    number = int(event.get("id", after))
                    yield event["event"], number, json.loads(event["data"])
                    event = {}
        finally:
            connection.close()


def _take(answer: _Answer) -> TakeData:
    found = json.loads(answer.body)
    return TakeData(
        take_key=answer.headers["carrellata-take-key"],
        rows=found["rows"],
        columns=found["columns"],
        metadata=found["metadata"],
    )


def _lower(response: http.client.HTTPResponse) -> dict[str, str]:
    return {name.lower(): value for name, value in response.getheaders()}


def _local(place: str) -> str:
    """Return a place on the same service; the token goes nowhere else."""
    if not place.startswith("/v1/"):
        message = f"the service points elsewhere: {place}"
        raise UnreachableError(message)
    return place


def _may_help(answer: _Answer) -> bool:
    """Tell whether the same request may well go through a little later."""
    if answer.status == 409:
        return _problem(answer).get("code") == "in_progress"
    return answer.status in _BUSY


def _pause_s(attempt: int, answer: _Answer | None) -> float:
    """Return how long to wait: what the service asks for, or longer each time."""
    asked = "" if answer is None else answer.headers.get("retry-after", "")
    if asked.isdigit():
        return min(_LONGEST_PAUSE_S, float(asked)) * random.uniform(1.0, 1.2)
    longest = min(_LONGEST_PAUSE_S, 0.05 * 2.0**attempt)
    return longest * random.uniform(0.5, 1.0)


def _problem(answer: _Answer) -> dict[str, Any]:
    try:
        found = json.loads(answer.body)
    except ValueError:  # a proxy's page
        return {}
    return found if isinstance(found, dict) else {}


def _refused(answer: _Answer) -> RefusedError:
    kinds = {
        400: JobRefusedError,
        401: TokenError,
        403: TokenError,
        404: NotThereError,
        422: JobRefusedError,
    }
    kind = BusyError if answer.status in _BUSY else kinds.get(answer.status)
    return (kind or RefusedError)(answer.status, _problem(answer))
