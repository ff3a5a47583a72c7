"""The page of a sequence: what needs a look, the cut, its shots, its lenses."""

import json
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby, pairwise
from math import isfinite
from typing import Any

from markupsafe import Markup

from .rows import FAILED, FindingRow, SequenceRow, worst_first
from .shell import page
from .shot_page import IndexedTake, shades, travel_words
from .since import ShotChange
from .svg import element
from .words import figure, lens_words, percent, rig_words, view_words

_MOST_LINES = 40  # in the first block; the table has them all
_BAR = 120.0


def index_page(
    rows: Sequence[SequenceRow],
    kept: Mapping[str, IndexedTake],
    *,
    changes: Sequence[ShotChange] | None,
    people: Sequence[str] = (),
) -> str:
    """Return the index of a sequence.

    Args:
        rows: of its shots, in the order of the job; at least one.
        kept: of each shot that has a take, by name.
        changes: since the last solve; None: there is nothing to compare with.
        people: names of all subjects of the sequence.
    """
    posters = [kept[row.shot].poster for row in rows if row.shot in kept]
    known = [row.shot for row in rows if row.shot in kept]
    numbers = {shot: n for n, shot in enumerate(known)}
    pictures = _Pictures(kept, numbers)
    worst = list(_worst(rows))
    return page(
        "index.html",
        sequence=rows[0].plain["sequence"],
        counts=_counts(rows),
        solved=_solved(rows),
        tally=_tally(rows),
        people=shades(people, people),
        names=Markup(json.dumps([row.shot for row in rows])),
        posters=Markup(f"[{','.join(posters)}]"),
        worst=[
            (row, one, pictures.of_finding(rows, row, one))
            for row, one in worst[:_MOST_LINES]
        ],
        more_wrong=max(0, len(worst) - _MOST_LINES),
        since=_since(changes),
        scenes=[
            (scene, [_card(row, kept.get(row.shot), pictures) for row in some])
            for scene, some in groupby(rows, key=lambda row: row.scene)
        ],
        table=[_line(row, kept.get(row.shot), pictures) for row in worst_first(rows)],
        cuts=list(_cuts(rows, kept)),
        lenses=_lenses(rows),
        grips=[(row.shot, kept[row.shot].sheet) for row in rows if row.shot in kept],
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class Poster:
    """A still frame of a take: which of its posters, and what it shows."""

    take: int
    k: int
    high: str
    words: str


@dataclass(frozen=True, slots=True)
class _Pictures:
    """The posters of a sequence: of each shot by name, numbered as they are written."""

    kept: Mapping[str, IndexedTake]
    numbers: Mapping[str, int]

    def poster(self, shot: str, k: int) -> list[Poster]:
        """Return one poster of a shot, none where it has no take.

        Args:
            shot: its name.
            k: 0 first, 1 middle, 2 last, 3 worst frame.
        """
        if shot not in self.numbers:
            return []
        own = self.kept[shot]
        first, last = own.frames
        words = ("first", "middle", "last", "worst")[k]
        return [
            Poster(
                take=self.numbers[shot],
                k=k,
                high=f"{1000 / own.aspect:.1f}",
                words=f"shot {shot}, {words} frame of {first} to {last}",
            )
        ]

    def of_finding(
        self, rows: Sequence[SequenceRow], row: SequenceRow, one: FindingRow | None
    ) -> list[Poster]:
        """Return what shows a finding: the worst frame, or both sides of the cut."""
        if one is None or not one.of_cut:
            return self.poster(row.shot, 3)
        n = next(n for n, each in enumerate(rows) if each is row)
        before = self.poster(rows[n - 1].shot, 2) if n else []
        return [*before, *self.poster(row.shot, 0)]


def _solved(rows: Sequence[SequenceRow]) -> str:
    """Return how many shots of a sequence were solved, and what came of the others."""
    # Whether a take was made tonight or kept is told by its row; the page is the same.
    told = {"kept": "solved", "no_setup": "no setup"}
    statuses = (str(row.plain["status"]) for row in rows)
    counts = Counter(told.get(status, status) for status in statuses)
    if list(counts) == ["solved"]:
        return "All are solved."
    parts = [f"{count} {status}" for status, count in sorted(counts.items())]
    return f"{', '.join(parts)}."


def _counts(rows: Sequence[SequenceRow]) -> str:
    """Return how many shots and scenes there are, and how long they are."""
    seconds = sum(row.number("seconds") or 0.0 for row in rows)
    scenes = _counted(len({row.scene for row in rows}), "scene")
    minutes, rest = divmod(round(seconds), 60)
    length = f"{minutes} min {rest:02d} s" if minutes else f"{rest} s"
    return f"{_counted(len(rows), 'shot')} in {scenes}, {length}."


def _tally(rows: Sequence[SequenceRow]) -> list[tuple[str, str]]:
    """Return what was found of each severity: its class, and how many in words."""
    severities = [one.severity for row in rows for one in row.without_accepted()]
    counts = [
        (FAILED, sum(row.failed for row in rows)),
        *((each, severities.count(each)) for each in ("fault", "warning", "note")),
    ]
    tally = [
        (word, f"{n} {word}" if word == FAILED else _counted(n, word))
        for word, n in counts
        if n
    ]
    accepted = sum(bool(one.accepted) for row in rows for one in row.findings)
    if accepted:
        tally.append(("good", f"{accepted} accepted"))
    return tally or [("good", "Nothing was found.")]


def _counted(count: int, word: str) -> str:
    return f"{count} {word}{'' if count == 1 else 's'}"


def _worst(
    rows: Sequence[SequenceRow],
) -> Iterator[tuple[SequenceRow, FindingRow | None]]:
    """Yield failed shots, then faults, then warnings, each in the job's order."""
    for row in rows:
        if row.failed:
            yield row, None
    for severity in ("fault", "warning"):
        for row in rows:
            for one in row.without_accepted():
                if one.severity == severity:
                    yield row, one


def _since(changes: Sequence[ShotChange] | None) -> dict[str, Any]:
    if changes is None:
        return {"known": False, "lines": [], "setups": [], "more": 0}
    lines = [
        (change.shot, "; ".join(change.lines)) for change in changes if change.lines
    ]
    return {
        "known": True,
        "lines": lines[:_MOST_LINES],
        "more": max(0, len(lines) - _MOST_LINES),
        "setups": [
            (change.shot, "; ".join(change.setup), change.why)
            for change in changes
            if change.setup
        ],
    }


def _card(
    row: SequenceRow, kept: IndexedTake | None, pictures: _Pictures
) -> dict[str, Any]:
    words = [lens_words(row.setup), rig_words(row.setup)]
    if kept is not None:
        words.insert(1, kept.size)
    seconds = row.number("seconds")
    if seconds is not None:
        words.insert(0, f"{seconds:.1f} s")
    return {
        "row": row,
        "posters": [one for k in (0, 1, 2) for one in pictures.poster(row.shot, k)],
        "words": ", ".join(words),
        "purpose": row.plain.get("purpose") or "",
    }


def _line(
    row: SequenceRow, kept: IndexedTake | None, pictures: _Pictures
) -> dict[str, Any]:
    size = "" if kept is None else f", {kept.size}"
    measured = [
        ("Length", figure(row.number("seconds"), ".1f", " s")),
        ("Head in frame", percent(row.number("head_in_frame"))),
        ("Widest drift", figure(row.number("drift_max"), ".2f")),
        ("Answers after", figure(row.number("onset_lag_s"), ".2f", " s")),
        ("Dolly", figure(row.number("dolly_m") or None, ".1f", " m")),
        ("Fastest pan", figure(row.number("pan_max_speed_deg_s"), ".0f", "\u00b0/s")),
    ]
    return {
        "row": row,
        "posters": pictures.poster(row.shot, 3),
        "purpose": row.plain.get("purpose") or "",
        "claims": row.claims,
        "setup": f"{lens_words(row.setup)}, {rig_words(row.setup)}{size}"
        f"{view_words(row.setup)}",
        "figures": [(name, words) for name, words in measured if words != "\u2013"],
    }


def _cuts(
    rows: Sequence[SequenceRow], kept: Mapping[str, IndexedTake]
) -> Iterator[dict[str, Any]]:
    for before, after in pairwise(rows):
        one, two = kept.get(before.shot), kept.get(after.shot)
        out = None if one is None else one.ends[1]
        into = None if two is None else two.ends[0]
        yield {
            "before": before.shot,
            "after": after.shot,
            "scene": after.scene,
            "scene_starts": after.scene != before.scene,
            "findings": [f for f in after.findings if f.of_cut],
            "lens": _change(lens_words(before.setup), lens_words(after.setup)),
            "size": _change(
                "\u2013" if out is None else _share(out.size),
                "\u2013" if into is None else _share(into.size),
            ),
            "place": _change(
                "\u2013" if out is None else _place(out.u, out.v),
                "\u2013" if into is None else _place(into.u, into.v),
            ),
            "travel": _change(
                "\u2013" if out is None else travel_words(out.travel_m_s),
                "\u2013" if into is None else travel_words(into.travel_m_s),
                joint=", then ",
            ),
        }


def _change(before: str, after: str, *, joint: str = " \u2192 ") -> str:
    return before if before == after else f"{before}{joint}{after}"


def _share(size: float) -> str:
    return f"{100 * size:.0f} %" if isfinite(size) else "unseen"


def _place(u: float, v: float) -> str:
    if not (isfinite(u) and isfinite(v)):
        return "unseen"
    return ", ".join(
        f"{round(value, 1) + 0.0:+.1f}".replace("-", "\u2212") for value in (u, v)
    )


def _lenses(rows: Sequence[SequenceRow]) -> list[dict[str, Any]]:
    used: dict[float, list[float]] = defaultdict(list)
    for row in rows:
        seconds = row.number("seconds")
        if row.setup is not None and seconds is not None:
            used[row.setup.lens_mm].append(seconds)
    whole = sum(map(sum, used.values())) or 1.0
    return [
        {
            "lens": f"{lens:g} mm",
            "shots": len(seconds),
            "seconds": f"{sum(seconds):.1f}",
            "share": percent(sum(seconds) / whole),
            "bar": _bar(sum(seconds) / whole),
        }
        for lens, seconds in sorted(used.items())
    ]


def _bar(share: float) -> str:
    return element(
        "svg",
        element("rect", x=0, y=1, width=_BAR * share, height=9, fill="currentColor"),
        viewBox=f"0 0 {_BAR:g} 11",
        width=_BAR,
        height=11,
        aria_hidden="true",
    )
