"""Takes in memory, by project: those asked for last, within a number of bytes."""

import hashlib
import hmac
from collections import OrderedDict
from dataclasses import dataclass, field

from .problems import Refusal
from .results import rendered, table_of_stream
from .solving import SolvedTake

_MOST = 10_000  # takes and refusals; bytes end earlier where takes are long


@dataclass(frozen=True, kw_only=True, slots=True)
class _Alias:
    """Where a ticket leads; `same` where its body says all that the take is."""

    key: str
    same: bool


@dataclass(kw_only=True, slots=True)
class KeptTake:
    """A take and the forms in which it was asked for.

    Attributes:
        key: name of the take for its project.
        take_key: of the take itself.
        stream: the take as an Arrow stream.
        forms: bytes by form.
    """

    key: str
    take_key: str
    stream: bytes
    forms: dict[str, bytes] = field(default_factory=dict)

    @property
    def n_bytes(self) -> int:
        """Bytes that are held."""
        return len(self.stream) + sum(map(len, self.forms.values()))


def render(stream: bytes, form: str) -> bytes:
    """Return a take in a form, from its Arrow stream."""
    return rendered(table_of_stream(stream), form)


class KeptTakes:
    """What every project has asked for lately.

    Names are digests under a secret and the project's name: those of one project say
    nothing in another, nor can they be computed outside.
    """

    def __init__(self, *, secret: bytes, max_bytes: int) -> None:
        """Start empty.

        Args:
            secret: of this service.
            max_bytes: that takes may use together.
        """
        self._secret = secret
        self._max_bytes = max_bytes
        self._n_bytes = 0
        self._kept: OrderedDict[tuple[str, str], KeptTake | Refusal] = OrderedDict()
        self._aliases: OrderedDict[tuple[str, str], _Alias] = OrderedDict()

    def ticket(self, project: str, body: bytes) -> str:
        """Return the name of a request that is not answered yet."""
        return self._name(project, b"body", hashlib.sha256(body).digest())

    def put(self, project: str, ticket: str, solved: SolvedTake) -> KeptTake:
        """Keep a take; its ticket leads to it from now on."""
        same = not solved.from_files
        key = self._name(project, b"take", solved.take_key.encode())
        kept = self._kept.get((project, key))
        if not isinstance(kept, KeptTake):
            kept = KeptTake(key=key, take_key=solved.take_key, stream=solved.stream)
            self._kept[project, key] = kept
            self._n_bytes += kept.n_bytes
        self.add_form(project, kept, solved.form, solved.body)
        self._alias(project, ticket, _Alias(key=key, same=same))
        return kept

    def add_form(self, project: str, kept: KeptTake, form: str, body: bytes) -> None:
        """Keep one more form of a take."""
        if form not in kept.forms:
            kept.forms[form] = body
            if (project, kept.key) in self._kept:
                self._n_bytes += len(body)
        self._shrink()

    def refuse(self, project: str, ticket: str, found: Refusal) -> None:
        """Keep why a request was refused, for who asks later."""
        self._kept[project, ticket] = found
        self._aliases.pop((project, ticket), None)
        self._shrink()

    def get(self, project: str, name: str) -> KeptTake | Refusal | None:
        """Return what a key or a ticket of a project leads to."""
        alias = self._aliases.get((project, name))
        place = project, name if alias is None else alias.key
        found = self._kept.get(place)
        if found is not None:
            self._kept.move_to_end(place)
        return found

    def get_same(self, project: str, ticket: str) -> KeptTake | None:
        """Return the take of a request if the request alone says what it is.

        One that names files has to be read again: they may have changed.
        """
        alias = self._aliases.get((project, ticket))
        if alias is None or not alias.same:
            return None
        found = self.get(project, ticket)
        return found if isinstance(found, KeptTake) else None

    def __len__(self) -> int:
        """Return how many takes and refusals are kept."""
        return len(self._kept)

    @property
    def n_bytes(self) -> int:
        """Bytes that takes use."""
        return self._n_bytes

    def _name(self, project: str, kind: bytes, value: bytes) -> str:
        salt = hmac.digest(self._secret, project.encode(), "sha256")
        return hmac.new(salt, kind + b":" + value, "sha256").hexdigest()

    def _alias(self, project: str, ticket: str, alias: "_Alias") -> None:
        self._kept.pop((project, ticket), None)  # an earlier refusal
        self._aliases[project, ticket] = alias
        self._aliases.move_to_end((project, ticket))
        while len(self._aliases) > _MOST:
            self._aliases.popitem(last=False)

    def _shrink(self) -> None:
        while self._kept and (
            self._n_bytes > self._max_bytes or len(self._kept) > _MOST
        ):
            _, gone = self._kept.popitem(last=False)
            if isinstance(gone, KeptTake):
                self._n_bytes -= gone.n_bytes
