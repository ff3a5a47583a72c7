"""What is another since the last solve: findings, setups, shots that came and went."""

from collections.abc import Iterable
from dataclasses import dataclass

from .rows import SequenceRow
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
    had = {(one.name, one.severity) for one in old.findings}
    have = {(one.name, one.severity) for one in row.findings}
    lines += [
        f"new {one.severity}, {one.title}: {one.text}"
        for one in row.findings
        if (one.name, one.severity) not in had
    ]
    if not row.failed:
        lines += [
            f"gone: {one.title}"
            for one in old.findings
            if (one.name, one.severity) not in have
        ]
    return ShotChange(
        shot=row.shot,
        lines=tuple(lines),
        setup=tuple(setup_changes(old.setup, row.setup)),
        why=why_words(row.plain.get("why"), None),
    )
