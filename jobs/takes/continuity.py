"""Findings of a whole sequence: of every take, and of every cut between takes.

They depend on neighbours, so they stand in `sequence.parquet` and never in a take. A
take only carries how its own cut begins and ends.
"""

import json
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, fields
from functools import lru_cache
from itertools import pairwise
from typing import Any

from ...solver.audit import BROKEN
from ...solver.cuts.continuity import CutShot, cut_findings, cut_news
from ...solver.cuts.end import ShotEnds
from ...solver.cuts.findings import (
    OF_SHOT,
    SEVERITIES,
    Finding,
    shot_findings,
)
from ...solver.cuts.findings import (
    THIS_TOOL as OWN,
)
from ...solver.measures.on_stage import Measures
from ..job.shot import ShotSpec
from ..job.spec import JobFile
from ..takes.keys import canonical
from .claim_words import asked_words, done_words, missed_words
from .findings_words import sentence

UNSEEN = "unseen_frames"
_OF_THE_DATA = (BROKEN, UNSEEN)

PlainFinding = dict[str, Any]
"""One finding as it is written: name, severity, of (shot or cut), numbers, source,
text, and accepted: by whom and why, or None."""


@dataclass(frozen=True, kw_only=True, slots=True)
class CutEntry:
    """What a job says of a shot that its cuts are judged by.

    Attributes:
        place: of the shot in the cut, from 0.
        shot: its name.
        scene: lower case.
        elapsed: whether time has passed since the shot before.
        accept: who lets a finding stand and why, by name of the finding.
        subjects: their names, in the order of the job.
        action: name of the action of which it is a camera; "" where it is none.
    """

    place: int
    shot: str
    scene: str
    elapsed: bool
    accept: Mapping[str, dict[str, str]]
    subjects: Sequence[str] = ()
    action: str = ""


def plain_fields(value: Any) -> dict[str, Any]:
    """Return a flat dataclass by its fields, which are not copied."""
    return {one.name: getattr(value, one.name) for one in fields(value)}


def entry_of(job: JobFile, spec: ShotSpec) -> CutEntry:
    """Return what a job says of one of its shots."""
    accept: dict[str, dict[str, str]] = {}
    for one in spec.accept:  # of several for one finding, the first counts
        accept.setdefault(one.finding, {"reason": one.reason, "by": one.by})
    action = job.action_of(spec.name)
    return CutEntry(
        place=job.place_of(spec.name),
        shot=spec.name,
        scene=spec.scene.lower(),
        elapsed=spec.cut == "elapsed",
        accept=accept,
        subjects=[one.name for one in spec.subjects],
        action="" if action is None else action.name,
    )


def findings_of(
    entries: Sequence[CutEntry],
    ends: Mapping[str, str | None],
    measures: Mapping[str, Measures],
    earlier: Mapping[str, str] | None = None,
    claims: Mapping[str, str] | None = None,
    covered: Mapping[str, Sequence[PlainFinding]] | None = None,
) -> dict[str, str]:
    """Return the findings of the shots of a sequence, JSON lists by name of the shot.

    Args:
        entries: of all shots, in the order of the cut.
        ends: JSON of the ends of each shot's take, by name; None, or left out, where
            there is no take. The cut into the next shot is then not judged.
        measures: of the takes, by name.
        earlier: findings that the rows came with, JSON by name; those of a lock and of
            missing frames stay, for they were made with the action at hand.
        claims: what came of the claims of each shot, JSON by name.
        covered: of cameras, what they are faulted for in the cut of their action.
    """
    before, claimed, cut = earlier or {}, claims or {}, covered or {}
    shots = _cut_shots(entries, ends, claimed)
    found = {}
    for entry, shot, cuts in zip(entries, shots, cut_findings(shots), strict=True):
        tan_u = None if shot.ends is None else shot.ends.first.tan_u
        own = shot_findings(measures.get(entry.shot, {}), tan_u=tan_u)
        kept = [
            {**one, "accepted": entry.accept.get(one["name"])}
            for one in json.loads(before.get(entry.shot, "[]"))
            if one["name"] in _OF_THE_DATA
        ]
        missed = claim_findings(json.loads(claimed.get(entry.shot, "[]")))
        found_now = (*missed, *own, *cuts)
        fresh = [plain_finding(finding, entry) for finding in found_now]
        fresh += [
            {**one, "accepted": entry.accept.get(one["name"])}
            for one in cut.get(entry.shot, ())
        ]
        if entry.shot in measures:
            names = {one["name"] for one in (*kept, *fresh)}
            fresh += _accepted_in_vain(entry, names)
        found[entry.shot] = canonical([*kept, *fresh])
    return found


def news_of_cuts(
    entries: Sequence[CutEntry],
    ends: Mapping[str, str | None],
    claims: Mapping[str, str],
) -> dict[str, str]:
    """Return what the cut into each shot brings, JSON lists by name of the shot.

    Args:
        entries: see `findings_of`.
        ends: likewise.
        claims: likewise.
    """
    shots = _cut_shots(entries, ends, claims)
    news = {shots[0].name: "[]"} if shots else {}
    for one, two in pairwise(shots):
        brings = () if two.alone else cut_news(one, two)
        news[two.name] = canonical([each._asdict() for each in brings])
    return news


@lru_cache(maxsize=8192)
def _ends_of(text: str) -> ShotEnds:
    """Return what a JSON text says of the ends of a take; asked for several times."""
    return ShotEnds.from_plain(json.loads(text))


def _cut_shots(
    entries: Sequence[CutEntry],
    ends: Mapping[str, str | None],
    claims: Mapping[str, str],
) -> list[CutShot]:
    shots = []
    for entry in entries:
        text = ends.get(entry.shot)
        shots.append(
            CutShot(
                name=entry.shot,
                scene=entry.scene,
                elapsed=entry.elapsed,
                ends=None if text is None else _ends_of(text),
                shows=tuple(
                    one["who"][0]
                    for one in json.loads(claims.get(entry.shot, "[]"))
                    if one["verb"] == "shows" and one["held"]
                ),
                alone=bool(entry.action),
            )
        )
    return shots


def claim_findings(outcomes: Iterable[Mapping[str, Any]]) -> list[Finding]:
    """Return a finding for every claim that is missed: a fault where it is a must.

    Args:
        outcomes: of the claims of a shot, by `ClaimOutcome.plain`.
    """
    return [
        Finding(
            name="intent_missed",
            severity="fault" if one["must"] else "warning",
            subject_of=OF_SHOT,
            numbers={
                "claim": asked_words(one),
                "done": done_words(one),
                "missed": missed_words(one),
                "short": float(one["short"]),
            },
            source=OWN,
        )
        for one in outcomes
        if not one["held"]
    ]


def unseen_finding(subject: str, first: int, last: int) -> Finding:
    """Return the finding of frames that a subject's table does not reach.

    Args:
        subject: its name.
        first: first of the frames in which nobody sees it.
        last: last of them, included.
    """
    numbers: dict[str, float | str] = {"subject": subject, "first": first, "last": last}
    return Finding(
        name=UNSEEN, severity="note", subject_of=OF_SHOT, numbers=numbers, source=OWN
    )


def _accepted_in_vain(entry: CutEntry, found: Collection[str]) -> list[PlainFinding]:
    """Return a note for each finding that a shot accepts and does not have."""
    return [
        plain_finding(
            Finding(
                name="accepts_nothing",
                severity="note",
                subject_of=OF_SHOT,
                numbers={"accepted": finding},
                source=OWN,
            ),
            entry,
        )
        for finding in sorted(entry.accept)
        if finding not in found
    ]


def counted(findings: str) -> list[PlainFinding]:
    """Return those of a shot's findings that nobody has accepted."""
    return [one for one in json.loads(findings) if one["accepted"] is None]


def reached(findings: Iterable[str], severity: str) -> bool:
    """Tell whether any finding that nobody has accepted is as severe, or more.

    Args:
        findings: of each shot, JSON.
        severity: one of `SEVERITIES`.
    """
    least = SEVERITIES.index(severity)
    return any(
        SEVERITIES.index(one["severity"]) >= least
        for text in findings
        for one in counted(text)
    )


def plain_finding(finding: Finding, entry: CutEntry) -> PlainFinding:
    """Return a finding of a shot, or of the cut into it, as it is written."""
    return {
        "name": finding.name,
        "severity": finding.severity,
        "of": finding.subject_of,
        "numbers": dict(finding.numbers),
        "source": finding.source,
        "text": sentence(finding, entry.shot),
        "accepted": entry.accept.get(finding.name),
    }
