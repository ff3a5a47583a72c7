"""Where the farm's parts are and what they may do, read once from the environment.

Every variable is named `CARRELLATA_` and the field's name in capitals.
"""

import os
import re
from collections.abc import Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import NoReturn
from urllib.parse import urlsplit

from ...jobs.errors import InputError
from ...jobs.places.place import Place, place_of

PREFIX = "CARRELLATA_"
SCHEMES = ("redis", "rediss", "unix")

# Addresses hold colons of their own: one parts what comes before a folder or address.
_BEFORE_A_PLACE = re.compile(r":(?=/(?!/)|[a-z][a-z0-9+.-]*://)")
_MINUTE_S, _DAY_S = 60.0, 86_400.0


class SettingsError(InputError):
    """A setting is missing or is none that the farm can work with."""

    def __init__(self, name: str, message: str) -> None:
        """Keep the environment variable of a field and what is wrong with it."""
        super().__init__(PREFIX + name.upper(), message)


@dataclass(frozen=True, kw_only=True, slots=True)
class FarmSettings:
    """What holds for every process of one farm.

    Attributes:
        broker: address of Redis, `redis://HOST:PORT/0`, `rediss://` or
            `unix:///PATH?db=0`; a password in it is never logged.
        roots: folders below which jobs and subjects are read.
        outputs: folders, and prefixes of object stores, below which takes are
            written; the roots if left out.
        spool: folder or prefix of the batches' records, one that all machines see;
            below the first output if left out.
        time_limit_s: of a message with shots, then its process is killed.
        join_limit_s: of a join, which also writes the review.
        visibility_timeout_s: after which a message whose worker died is given to
            another; at least twice the time limit.
        restore_interval_s: between searches for such messages.
        silent_s: after which a worker that does not beat counts as gone; the sweeper
            gives what it held to others within half as long again.
        sweep_interval_s: between rounds of the sweeper.
        lifetime_s: for which a batch's state and records are kept.
        broker_patience_s: for which a worker waits for a Redis that is away.
        stop_s: that a worker which is told to stop gives the shots in hand.
        max_attempts: of one shot that takes its process with it; then it is set aside.
        max_queue: messages that may wait; a submission over it is refused.
        bundle_ms: work that is worth a message of its own.
        bundle_shots: most shots of one message.
        memory_mb: of a child process; one that has grown larger is replaced.
        batch_nice: by how much the batch pool gives way to others on its machine.
    """

    broker: str
    roots: tuple[Path, ...]
    outputs: tuple[Place, ...]
    spool: Place
    time_limit_s: float = 2 * _MINUTE_S
    join_limit_s: float = 60 * _MINUTE_S
    visibility_timeout_s: float = 5 * _MINUTE_S
    restore_interval_s: float = 5.0
    silent_s: float = 12.0
    sweep_interval_s: float = 30.0
    lifetime_s: float = 14 * _DAY_S
    broker_patience_s: float = _MINUTE_S
    stop_s: float = 15.0
    max_attempts: int = 3
    max_queue: int = 200_000
    bundle_ms: float = 100.0
    bundle_shots: int = 16
    memory_mb: int = 1500
    batch_nice: int = 10


def has_broker(environment: Mapping[str, str] = os.environ) -> bool:
    """Tell whether the address of a farm is set at all."""
    return bool(environment.get(f"{PREFIX}BROKER"))


def load_settings(environment: Mapping[str, str] = os.environ) -> FarmSettings:
    """Read the settings.

    Raises:
        SettingsError: one is missing or not usable; it names the variable.
    """
    roots = _roots(environment)
    outputs = _places(environment, "outputs") or roots
    spool = _places(environment, "spool") or (outputs[0] / ".carrellata",)
    if len(spool) > 1:
        _refuse("spool", "must be one folder")
    numbers = {
        field.name: _number(environment, field.name, whole=field.type is int)
        for field in fields(FarmSettings)
        if field.type in (int, float) and PREFIX + field.name.upper() in environment
    }
    settings = FarmSettings(
        broker=_broker(environment),
        roots=roots,
        outputs=outputs,
        spool=spool[0],
        **numbers,  # type: ignore[arg-type]
    )
    _check(settings)
    return settings


def shown_broker(broker: str) -> str:
    """Return a broker's address without user and password."""
    parts = urlsplit(broker)
    return parts._replace(netloc=parts.netloc.rpartition("@")[2]).geturl()


def _broker(environment: Mapping[str, str]) -> str:
    broker = environment.get(f"{PREFIX}BROKER", "")
    if not broker:
        message = "is not set; give the address of Redis, redis://HOST:PORT/0"
        _refuse("broker", message)
    if urlsplit(broker).scheme not in SCHEMES:
        message = f"must start with one of {', '.join(f'{one}://' for one in SCHEMES)}"
        _refuse("broker", message)
    return broker


def _roots(environment: Mapping[str, str]) -> tuple[Path, ...]:
    places = _places(environment, "roots")
    roots = tuple(place for place in places if isinstance(place, Path))
    if not roots:
        _refuse("roots", "is not set; name the folders of the jobs")
    if len(roots) < len(places):
        _refuse("roots", "must name folders; jobs are not read from object stores")
    return roots


def _places(environment: Mapping[str, str], name: str) -> tuple[Place, ...]:
    value = environment.get(PREFIX + name.upper(), "")
    separator = _BEFORE_A_PLACE if "://" in value else re.compile(os.pathsep)
    parts = [part for part in separator.split(value) if part]
    places = [_place(part, name) for part in parts]
    for place in places:
        if isinstance(place, Path) and not place.is_absolute():
            message = f"must name folders from / on, got {place}"
            _refuse(name, message)
    return tuple(
        place.resolve() if isinstance(place, Path) else place for place in places
    )


def _place(text: str, name: str) -> Place:
    try:
        return place_of(text, name)
    except InputError as error:
        raise SettingsError(name, error.fault.message) from error


def _number(environment: Mapping[str, str], name: str, *, whole: bool) -> float:
    text = environment[PREFIX + name.upper()]
    try:
        value = int(text) if whole else float(text)
    except ValueError:
        _refuse(name, f'must be a {"whole " * whole}number, got "{text}"')
    least = 0.0 if name == "batch_nice" else 1e-6
    if not least <= value < 1e12:
        _refuse(name, f"must be above 0, got {text}")
    return value


def _check(settings: FarmSettings) -> None:
    least = 2 * settings.time_limit_s
    if settings.visibility_timeout_s < least:
        message = (
            f"must be at least twice the time limit, {least:g} s, "
            f"got {settings.visibility_timeout_s:g} s"
        )
        _refuse("visibility_timeout_s", message)


def _refuse(name: str, message: str) -> NoReturn:
    raise SettingsError(name, message)
