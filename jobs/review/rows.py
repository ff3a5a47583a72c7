"""The rows of a sequence as the review reads them: words, numbers and findings."""

import json
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, NamedTuple

from ...solver.cuts.findings import OF_CUT, SEVERITIES
from ..errors import InputError
from ..job.setup import SetupSpec
from ..places.place import Place
from ..takes.actions import CoveredAction, actions_of
from ..takes.claim_words import asked_words
from ..takes.row_setup import setup_in_row
from ..takes.sequence_table import WITHOUT_TAKE, CutClock, read_table
from .mend import Mend, mends

FAILED = "failed"


@dataclass(frozen=True, kw_only=True, slots=True)
class FindingRow:
    """One finding in words.

    Attributes:
        name: of the rule.
        title: name of the rule, for people.
        severity: `note`, `warning` or `fault`.
        text: one sentence: what was found, and what to do.
        of_cut: whether it is about the cut into the shot.
        source: of the rule.
        accepted: who lets it stand, and why; "" where nobody does.
    """

    name: str
    title: str
    severity: str
    text: str
    of_cut: bool
    source: str
    accepted: str

    @property
    def rank(self) -> int:
        """How bad it is: 0 for what is accepted, else 1 and up."""
        return 0 if self.accepted else 1 + SEVERITIES.index(self.severity)


@dataclass(frozen=True, kw_only=True, slots=True)
class SequenceRow:
    """One shot of a sequence.

    Attributes:
        plain: the row as it is written.
        setup: what it was solved with, or was to be; None where it was left open.
        findings: worst first.
    """

    plain: dict[str, Any]
    setup: SetupSpec | None
    findings: tuple[FindingRow, ...]

    @property
    def shot(self) -> str:
        """Its name."""
        return str(self.plain["shot"])

    @property
    def scene(self) -> str:
        """Name of its scene."""
        return str(self.plain["scene"])

    @property
    def failed(self) -> bool:
        """Whether it could not be solved."""
        return self.plain["status"] in WITHOUT_TAKE

    @property
    def locked(self) -> bool:
        """Whether the job locks its take."""
        return bool(self.plain["status"] == "locked")

    @property
    def errors(self) -> tuple[str, ...]:
        """Its faults, a line each."""
        return tuple((self.plain.get("error") or "").splitlines())

    @property
    def claims(self) -> tuple[tuple[bool, str], ...]:
        """What its picture must tell: whether it does, and what, in words."""
        outcomes = json.loads(self.plain.get("claims") or "[]")
        return tuple((bool(one["held"]), asked_words(one)) for one in outcomes)

    @property
    def mends(self) -> tuple[Mend, ...]:
        """What its faults say, and what to change; none where it has a take."""
        return mends(self.errors) if self.failed else ()

    @property
    def word(self) -> str:
        """The state for people."""
        return "no setup" if self.plain["status"] == "no_setup" else self.state

    @property
    def state(self) -> str:
        """The worst of it in one word: failed, a severity, or good."""
        if self.failed:
            return FAILED
        rank = max((finding.rank for finding in self.findings), default=0)
        return SEVERITIES[rank - 1] if rank else "good"

    @property
    def badness(self) -> tuple[float, ...]:
        """A key that sorts the worst shot first."""
        ranks = [finding.rank for finding in self.without_accepted()]
        framed, drift = self.number("head_in_frame"), self.number("drift_max")
        return (
            -float(self.failed),
            -float(max(ranks, default=0)),
            -float(ranks.count(max(ranks, default=0))),
            1.0 if framed is None else framed,
            0.0 if drift is None else -drift,
        )

    def number(self, name: str) -> float | None:
        """Return a measure; None where it has none."""
        value = self.plain.get(name)
        return None if value is None else float(value)

    def without_accepted(self) -> tuple[FindingRow, ...]:
        """Return the findings that nobody has accepted."""
        return tuple(finding for finding in self.findings if not finding.accepted)


class Rows(NamedTuple):
    """The rows of a sequence at one moment.

    Attributes:
        now: of its shots, in the order of its job.
        before: those before the last solve of each shot; none where it had only one.
        named: names of all shots of its job, solved or not.
        people: names of all subjects, in the order of the cut.
        clock: how frames are counted.
        actions: what came of the actions of its job.
    """

    now: list[SequenceRow]
    before: list[SequenceRow]
    named: tuple[str, ...]
    people: tuple[str, ...]
    clock: CutClock
    actions: tuple[CoveredAction, ...] = ()


def read_rows(path: Place) -> Rows:
    """Read a sequence's file.

    Raises:
        InputError: it is missing, damaged, or no such file.
    """
    table = read_table(path)
    try:
        now, before = (
            [row_of(row.plain()) for row in rows] for rows in (table.rows, table.before)
        )
    except ValueError as error:
        raise InputError(str(path), f"has a row of another form: {error}") from error
    return Rows(
        now=now,
        before=before,
        named=tuple(table.clock.frames),
        people=tuple(
            dict.fromkeys(name for one in table.entries for name in one.subjects)
        ),
        clock=table.clock,
        actions=tuple(actions_of(path.parent, table.entries)),
    )


def row_of(plain: dict[str, Any]) -> SequenceRow:
    """Return a row from its plain values."""
    written = map(_finding, json.loads(plain.get("findings") or "[]"))
    findings = sorted(written, key=lambda one: -one.rank)
    return SequenceRow(
        plain=plain, setup=setup_in_row(plain["setup"]), findings=tuple(findings)
    )


def worst_first(rows: Iterable[SequenceRow]) -> list[SequenceRow]:
    """Return rows, failed ones first, then by their findings."""
    return sorted(rows, key=lambda row: row.badness)


def _finding(written: dict[str, Any]) -> FindingRow:
    accepted = written["accepted"]
    name = str(written["name"])
    return FindingRow(
        name=name,
        title=name.replace("_", " "),
        severity=str(written["severity"]),
        text=str(written["text"]),
        of_cut=written["of"] == OF_CUT,
        source=str(written["source"]),
        accepted=""
        if not accepted
        else f"accepted by {accepted['by']}: {accepted['reason']}",
    )
