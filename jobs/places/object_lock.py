"""Keeps runs that share a prefix of an object store from each other's way.

A store has no lock, but what is put is seen by whoever lists next. So runs queue as in
a bakery (Lamport, "A new solution of Dijkstra's concurrent programming problem",
Communications of the ACM 17, 1974): each stands at the door, takes a number above all
that it sees, leaves the door, and waits for lower numbers and for those who stood at
the door with it.

    FOLDER/.lock/<token>.door
    FOLDER/.lock/<number>.<token>.turn

Who has died is waited for as long as a lease, by the store's own clock.
"""

import secrets
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from typing import Any

from .objects import ObjectPath

LEASE_S = 120.0
"""A turn this old is of somebody who died; what is done in one takes seconds."""

_RENEW_S = LEASE_S / 4
_PAUSE_S = 0.1


@dataclass(frozen=True, kw_only=True, slots=True)
class _Seen:
    """The room at one moment: who is at the door, whose turns there are."""

    door: frozenset[str]
    turns: frozenset[tuple[int, str]]


@contextmanager
def alone_in_prefix(folder: ObjectPath) -> Iterator[None]:
    """Keep other runs out while something is read, changed and written.

    Raises:
        StoreError: the store does not do it.
    """
    room = folder / ".lock"
    while True:
        with ExitStack() as held:
            if _waited(room, held):
                yield
                return


def _waited(room: ObjectPath, held: ExitStack) -> bool:
    """Take a turn and wait for it; False where we were thought dead meanwhile.

    Args:
        room: where doors and turns lie.
        held: gives the turn back.
    """
    token = secrets.token_hex(8)
    with ExitStack() as at_door:
        door = room / f"{token}.door"
        at_door.callback(door.unlink, missing_ok=True)
        door.put(b"")
        own = 1 + max((n for n, _ in _seen(room).turns), default=0), token
        turn = room / f"{own[0]:012d}.{token}.turn"
        held.callback(turn.unlink, missing_ok=True)
        turn.put(b"")
    put_s = time.monotonic()
    before: frozenset[str] | None = None
    while True:
        seen = _seen(room, own=turn, since_s=time.monotonic() - put_s)
        if own not in seen.turns:
            return False
        # Whoever comes to the door later takes a number above ours.
        before = seen.door if before is None else before & seen.door
        if not before and min(seen.turns) == own:
            return True
        time.sleep(_PAUSE_S)
        if time.monotonic() - put_s > _RENEW_S:
            turn.put(b"")
            put_s = time.monotonic()


def _seen(
    room: ObjectPath, own: ObjectPath | None = None, since_s: float = 0.0
) -> _Seen:
    """Look into the room, and clear away what the dead have left.

    Args:
        room: where doors and turns lie.
        own: our turn, by which the store's clock is read; None: nothing is cleared.
        since_s: seconds since it was put.
    """
    found: list[Any] = [one for one in room.listed() if one.is_file]
    times = {one.base_name: one.mtime_ns / 1e9 for one in found}
    now_s = times.get(own.name, 0.0) + since_s if own is not None else 0.0
    door, turns = set(), set()
    for name, put_s in times.items():
        if now_s - put_s > LEASE_S:
            (room / name).unlink(missing_ok=True)
            continue
        *number, token, kind = name.split(".")
        if kind == "door":
            door.add(token)
        elif kind == "turn":
            turns.add((int(number[0]), token))
    return _Seen(door=frozenset(door), turns=frozenset(turns))
