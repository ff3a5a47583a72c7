"""Bearer tokens: kept as digests, compared in constant time.

A token is 256 random bits, so one round of SHA-256 is enough to keep it: there is
nothing to guess. The file of tokens is read again when it changes.
"""

import hashlib
import hmac
import logging
import re
import secrets
import tomllib
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Any

from ...jobs.errors import Fault, InputError, JobError
from ...jobs.job.quantities import NAME_PATTERN
from .limits import Bucket, Limits
from .rules import Rules

_log = logging.getLogger(__name__)

TOKEN_VARIABLE = "CARRELLATA_TOKEN"
LEAST_LENGTH = 32
_DIGEST = re.compile(r"[0-9a-f]{64}", re.ASCII)
_KNOWN = ("project", "sha256", "root", "batches", "limits")


@dataclass(kw_only=True, slots=True)
class Usage:
    """What a token is doing now.

    Attributes:
        bucket: of its requests.
        in_flight: takes that are solved or waited for.
        streams: streams of events that are open.
    """

    bucket: Bucket
    in_flight: int = 0
    streams: int = 0


@dataclass(kw_only=True, slots=True)
class Caller:
    """Who holds a token, what it may do, and what it is doing.

    Attributes:
        rules: project, folder and limits.
        digest: of the token.
        may_batch: whether it may submit and cancel batches.
        usage: what it is doing.
    """

    rules: Rules
    digest: str
    may_batch: bool = True
    usage: Usage = field(init=False)

    def __post_init__(self) -> None:
        limits = self.rules.limits
        bucket = Bucket(per_s=limits.requests_per_s, burst=limits.burst)
        self.usage = Usage(bucket=bucket)

    @property
    def project(self) -> str:
        """Name of the project."""
        return self.rules.project


def new_token() -> str:
    """Return a fresh token."""
    return "crl_" + secrets.token_urlsafe(32)


def digest_of_token(token: str) -> str:
    """Return what is kept of a token."""
    return hashlib.sha256(token.encode("utf-8", "surrogateescape")).hexdigest()


class Tokens:
    """The tokens of a service, from a file or one alone."""

    def __init__(self, callers: list[Caller], *, file: Path | None = None) -> None:
        """Keep the callers.

        Args:
            callers: one a token.
            file: where they were read from; it is read again when it changes.
        """
        self._callers = callers
        self._file = file
        self._stamp = None if file is None else _stamp(file)
        self.root: Path | None = None

    def caller(self, token: str) -> Caller | None:
        """Return who holds a token, or None where nobody does.

        Every digest is compared, so that time says nothing about how near one was.
        """
        self._refresh()
        asked = digest_of_token(token)
        found = None
        for caller in self._callers:
            if hmac.compare_digest(asked, caller.digest):
                found = caller
        return found

    def _refresh(self) -> None:
        if self._file is None:
            return
        stamp = _stamp(self._file)
        if stamp == self._stamp:
            return
        self._stamp = stamp
        try:
            callers = read_tokens(self._file, root=self.root)
        except (InputError, JobError) as error:
            _log.error("the tokens stay as they were: %s", error)
            return
        known = {caller.digest: caller for caller in self._callers}
        for caller in callers:  # what they are doing goes on counting
            before = known.get(caller.digest)
            if before is not None:
                before.usage.bucket = caller.usage.bucket
                caller.usage = before.usage
        self._callers = callers


def one_token(token: str, *, root: Path | None) -> Tokens:
    """Return the tokens of a service for one artist: project `local`.

    Raises:
        InputError: the token is too short to be a secret.
    """
    if len(token) < LEAST_LENGTH:
        message = f"must have at least {LEAST_LENGTH} characters, got {len(token)}"
        raise InputError(TOKEN_VARIABLE, message)
    rules = Rules(project="local", root=root, limits=Limits())
    return Tokens([Caller(rules=rules, digest=digest_of_token(token))])


def tokens_of_file(file: Path, *, root: Path | None) -> Tokens:
    """Return the tokens that a file lists.

    Raises:
        InputError: the file cannot be read.
        JobError: it is no file of tokens.
    """
    tokens = Tokens(read_tokens(file, root=root), file=file)
    tokens.root = root
    return tokens


def read_tokens(file: Path, *, root: Path | None) -> list[Caller]:
    """Read a file of tokens, TOML with a `[[tokens]]` each.

    Args:
        file: the file.
        root: folder of subject files where a token names none.

    Raises:
        InputError: the file cannot be read.
        JobError: it is no file of tokens.
    """
    try:
        tables = tomllib.loads(file.read_text(encoding="utf-8"))
    except OSError as error:
        raise InputError(str(file), "cannot be read") from error
    except ValueError as error:
        raise InputError(str(file), f"is no TOML: {error}") from error
    entries = tables.get("tokens")
    if not isinstance(entries, list) or not entries:
        raise InputError(str(file), "lists no [[tokens]]")
    faults: list[Fault] = []
    callers = [
        _caller(entry, f"tokens[{k}]", root, faults) for k, entry in enumerate(entries)
    ]
    if faults:
        raise JobError(tuple(faults))
    return callers


def token_entry(project: str, token: str) -> str:
    """Return the lines that a file of tokens needs for a token."""
    return f'\n[[tokens]]\nproject = "{project}"\nsha256 = "{digest_of_token(token)}"\n'


def _caller(entry: Any, path: str, root: Path | None, faults: list[Fault]) -> Caller:
    """Return the caller of an entry; what is wrong with it is added to `faults`."""

    def check(name: str, *, sound: bool, rule: str) -> None:
        if not sound:
            faults.append(Fault(path=f"{path}.{name}", message=rule))

    table = entry if isinstance(entry, dict) else {}
    project, digest = table.get("project"), table.get("sha256")
    check(
        "project",
        sound=isinstance(project, str) and bool(re.fullmatch(NAME_PATTERN, project)),
        rule='must be 1 to 64 letters, digits, "_" or "-"',
    )
    check(
        "sha256",
        sound=isinstance(digest, str) and bool(_DIGEST.fullmatch(digest)),
        rule="must be the SHA-256 of the token, 64 hexadecimal digits",
    )
    for name in table.keys() - set(_KNOWN):
        check(name, sound=False, rule=f"is not a field ({', '.join(_KNOWN)})")
    may_batch = table.get("batches", True)
    check("batches", sound=isinstance(may_batch, bool), rule="must be true or false")
    own = table.get("root")
    own_root = Path(own) if isinstance(own, str) else None
    check(
        "root",
        sound=own is None or (own_root is not None and own_root.is_absolute()),
        rule="must be a folder, from / on",
    )
    limits = _limits(table.get("limits", {}), f"{path}.limits", faults)
    rules = Rules(project=str(project), root=own_root or root, limits=limits)
    return Caller(rules=rules, digest=str(digest), may_batch=bool(may_batch))


def _limits(table: Any, path: str, faults: list[Fault]) -> Limits:
    names = tuple(one.name for one in fields(Limits))
    asked = table if isinstance(table, dict) else {"": table}
    given: dict[str, int] = {}
    for name, value in asked.items():
        if name not in names:
            message = f"is not a limit ({', '.join(names)})"
            faults.append(Fault(path=f"{path}.{name}", message=message))
        elif not isinstance(value, int) or isinstance(value, bool) or value < 1:
            message = "must be a whole number from 1 up"
            faults.append(Fault(path=f"{path}.{name}", message=message))
        else:
            given[name] = value
    return Limits(**given)


def _stamp(file: Path) -> tuple[int, int, int] | None:
    try:
        about = file.stat()
    except OSError:
        return None
    return about.st_mtime_ns, about.st_size, about.st_ino
