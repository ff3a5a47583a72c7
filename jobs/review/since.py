"""What is another since the last solve: findings, setups, shots that came and went."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from .rows import FindingRow, SequenceRow
from .words import setup_changes, why_words


@dataclass(frozen=True, kw_only=True, slots=True)
class ShotChange:
    """One shot against its earlier self.

    Attributes:
        shot: its name.
        lines: what is new or gone, a phrase each.
        setup: what is another in its setup, a phrase each.
        why: why the setup was chosen; "" where nobody says.
    """

    shot: str
    lines: tuple[str, ...]
    setup: tuple[str, ...] = ()
    why: str = ""


def changes_since(
    rows: Iterable[SequenceRow], before: Iterable[SequenceRow]
) -> list[ShotChange]:
    """Return the shots that are another than they were, in the order of the job."""
    known = {row.shot: row for row in before}
    changes = [_change(row, known.get(row.shot)) for row in rows]
    return [change for change in changes if change.lines or change.setup]


def _change(row: SequenceRow, old: SequenceRow | None) -> ShotChange:
    if old is None:
        return ShotChange(shot=row.shot, lines=("is a new shot",))
    lines = []
    if row.failed and not old.failed:
        lines.append("fails now")
    if old.failed and not row.failed:
        lines.append("is solved now")
    new, gone = finding_changes(old.findings, row.findings)
    had = {one.name for one in old.findings}
    lines += [
        f"{one.title} is a {one.severity} now"
        if one.name in had
        else f"new {one.severity}: {one.title}"
        for one in new
    ]
    if not row.failed:
        lines += [f"gone: {one.title}" for one in gone]
    return ShotChange(
        shot=row.shot,
        lines=tuple(lines),
        setup=()
        if row.failed or old.failed
        else tuple(setup_changes(old.setup, row.setup)),
        why=why_words(row.plain.get("why")),
    )


def finding_changes(
    before: Sequence[FindingRow], after: Sequence[FindingRow]
) -> tuple[tuple[FindingRow, ...], tuple[FindingRow, ...]]:
    """Return findings that are new or of another severity, and those that are gone."""
    had = {(one.name, one.rank) for one in before}
    names = {one.name for one in after}
    return (
        tuple(one for one in after if (one.name, one.rank) not in had),
        tuple(one for one in before if one.name not in names),
    )
