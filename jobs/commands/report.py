"""The lines that commands print for people."""

import json
from collections.abc import Iterable, Iterator, Sequence
from math import isinf

from ...solver.cuts.findings import SEVERITIES
from ...solver.measures.on_stage import Measures
from ..takes.row_setup import setup_in_row
from ..takes.sequence_table import WITHOUT_TAKE, ShotRow
from .lens_table import LensRow, Stand

_SHARES = ("in_frame", "body_in_frame", "size_kept", "angle_kept", "soft")


def worst_first(rows: Iterable[ShotRow]) -> list[ShotRow]:
    """Return rows, failed ones first, then by time with a cut head, then by drift."""
    return sorted(rows, key=_badness)


def shot_lines(rows: Sequence[ShotRow]) -> Iterator[str]:
    """Yield a line a shot: status and what matters most, worst first."""
    width = max((len(row.shot) for row in rows), default=0)
    wide = max((len(row.status) for row in rows), default=0)
    for row in worst_first(rows):
        if row.status in WITHOUT_TAKE:
            for line in (row.error or "").splitlines():
                yield f"{row.shot:<{width}}  {row.status:<{wide}}  {line}"
        else:
            numbers = _main_numbers(row.measures)
            yield f"{row.shot:<{width}}  {row.status:<{wide}}  {numbers}"
            # What a locked take no longer holds.
            for line in (row.error or "").splitlines():
                yield f"{'':<{width}}  {'':<{wide}}  {line}"


def detail_line(measures: Measures) -> str:
    """Return the other shares of a take and its lag in one line."""
    shares = [
        f"{name.replace('_', ' ')} {_percent(measures, name)}" for name in _SHARES
    ]
    return ", ".join([*shares, f"lag {_number(measures, 'onset_lag_s', '.2f')} s"])


def count_line(rows: Sequence[ShotRow]) -> str:
    """Return how many shots have each status."""
    counts = {
        status: sum(row.status == status for row in rows)
        for status in ("solved", "kept", "locked", *WITHOUT_TAKE)
    }
    return ", ".join(
        f"{count} {status}"
        for status, count in counts.items()
        if count or status in ("solved", "kept", "failed")
    )


def findings_line(rows: Iterable[ShotRow]) -> str:
    """Return how many findings of each severity there are, and how many accepted."""
    found = [one for row in rows for one in json.loads(row.findings)]
    open_ones = [one for one in found if one["accepted"] is None]
    counts = [
        (sum(one["severity"] == severity for one in open_ones), severity)
        for severity in reversed(SEVERITIES)
    ]
    parts = [f"{n} {word}{'' if n == 1 else 's'}" for n, word in counts if n]
    accepted = len(found) - len(open_ones)
    if accepted:
        parts.append(f"{accepted} accepted")
    return f"findings: {', '.join(parts) or 'none'}"


def lenses_line(rows: Iterable[ShotRow]) -> str:
    """Return how many of the shots that have a take use each focal length."""
    used = [
        setup.lens_mm
        for row in rows
        if row.status not in WITHOUT_TAKE and (setup := setup_in_row(row.setup))
    ]
    counts = [(mm, used.count(mm)) for mm in sorted(set(used))]
    parts = [f"{mm:g} mm {n} shot{'' if n == 1 else 's'}" for mm, n in counts]
    return f"lenses: {', '.join(parts) or 'none'}"


def finding_lines(row: ShotRow) -> Iterator[str]:
    """Yield the findings of a shot, a sentence a line, the worst first."""
    found = json.loads(row.findings)
    found.sort(key=lambda one: -SEVERITIES.index(one["severity"]))
    for one in found:
        mark = one["severity"]
        if one["accepted"] is not None:
            mark = f"accepted by {one['accepted']['by']}"
        yield f"{mark}: {one['text']}"


def lens_lines(
    rows: Sequence[LensRow], change: tuple[str, str] | None
) -> Iterator[str]:
    """Yield the table of a kit: a line for each lens and size."""
    for row in rows:
        yield (
            f"{row.mm:g} mm: angle of view {row.horizontal_deg:.1f} x "
            f"{row.vertical_deg:.1f} deg, hyperfocal {row.hyperfocal_m:.2f} m "
            f"at f/{row.stop:g}"
        )
        for stand in row.stands:
            yield f"  {_stand(stand)}"
        if change is not None and row.change is not None:
            yield f"  {_change(row, change)}"


def _badness(row: ShotRow) -> tuple[bool, float, float]:
    framed, drift = row.measures.get("head_in_frame"), row.measures.get("drift_max")
    return (
        row.status not in WITHOUT_TAKE,
        1.0 if framed is None else float(framed),
        0.0 if drift is None else -float(drift),
    )


def _main_numbers(measures: Measures) -> str:
    return (
        f"head in frame {_percent(measures, 'head_in_frame'):>5}, "
        f"most drift {_number(measures, 'drift_max', '.2f')} half frames, "
        f"{_number(measures, 'pan_decisions_per_s', '.1f')} pan decisions/s, "
        f"dolly {_number(measures, 'dolly_m', '.1f')} m"
    )


def _number(measures: Measures, name: str, form: str) -> str:
    value = measures.get(name)
    return "-" if value is None else format(float(value), form)


def _percent(measures: Measures, name: str) -> str:
    value = measures.get(name)
    return "-" if value is None else f"{100 * float(value):.0f} %"


def _stand(stand: Stand) -> str:
    far = "infinity" if isinf(stand.far_m) else f"{stand.far_m:.2f} m"
    close = ", closer than it focuses" if stand.too_close else ""
    return (
        f"{stand.size:<6}  at {stand.distance_m:6.2f} m, "
        f"sharp {stand.near_m:.2f} m to {far}{close}"
    )


def _change(row: LensRow, change: tuple[str, str]) -> str:
    assert row.change is not None
    push, needed = row.change.push_m, row.change.needed_mm
    way = f"{'push in' if push >= 0 else 'pull back'} {abs(push):.2f} m"
    kit = row.change.lens_mm
    lens = "none in the kit" if kit is None else f"the kit has {kit:g} mm"
    return f"{change[0]} to {change[1]}: {way}, or a {needed:.0f} mm lens ({lens})"
