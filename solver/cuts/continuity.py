"""Continuity: what every cut of a sequence is faulted for, chosen or fixed.

A cut is judged at its two frames, inside a scene: against the shot before where it
shows the same subject or pair, and for the line of action against the last shot that
showed it, however many shots of others came between. Where time has elapsed nothing
carries over. A lone mover that crosses the line changes its screen direction too, and
the two are one finding.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import degrees, dist, hypot

from .at_cut import Point
from .end import CutEnd, ShotEnds, direction_of
from .findings import COMMON, OF_CUT, OF_SHOT, Finding
from .rules import (
    LEAST_TURN_RAD,
    MOST_SIZE_STEPS,
    SAME_SIZE_STEPS,
    TWO_STEPS,
    are_reverses,
    eye_travel,
    same_height,
    size_steps,
    turn_rad,
    turned,
)

LINE_RULE = "180-degree rule, standard film grammar, common practice"
THIRTY_RULE = "30-degree rule, standard film grammar, common practice"
DIRECTION_RULE = "constant screen direction, standard film grammar, common practice"
REVERSE_RULE = "matched reverse angles, standard film grammar, common practice"

WEAK_TURN_RAD = 1.5 * LEAST_TURN_RAD
EYE_JUMPS = (1.0, 1.5)  # half frame widths: a note from the first, a warning
MOVING_M_S = 0.5
MOVED_M = 0.3  # what a subject may jump at a cut, and
MOVED_S = 0.25  # the overlap of its motion that no one sees (common practice)
MOVED_FAR_M = 1.0
RUN_OF_LENS = 3


@dataclass(frozen=True, kw_only=True, slots=True)
class CutShot:
    """One shot among its neighbours.

    Attributes:
        name, scene: of the shot.
        elapsed: whether time has passed since the shot before.
        ends: of its take; None where it has none.
    """

    name: str
    scene: str
    elapsed: bool
    ends: ShotEnds | None


@dataclass(frozen=True, kw_only=True, slots=True)
class _Sight:
    """The last sight of a line of action or subject, and the shot that had it."""

    shot: str
    end: CutEnd


def cut_findings(shots: Sequence[CutShot]) -> tuple[tuple[Finding, ...], ...]:
    """Return for each shot what the cut into it is faulted for, and its inner cuts.

    Args:
        shots: a whole sequence, in its order.

    Returns:
        A tuple of findings a shot, in a fixed order; empty for the first of a scene.
    """
    known: dict[str, dict[str, _Sight]] = {}
    runs: dict[str, int] = {}
    found: list[tuple[Finding, ...]] = []
    for k, shot in enumerate(shots):
        before = shots[k - 1] if k and shots[k - 1].scene == shot.scene else None
        sights = known.setdefault(shot.scene, {})
        if shot.elapsed:
            sights.clear()
        if shot.ends is None:
            found.append(())
            runs[shot.scene] = 0
            continue
        here: list[Finding] = []
        if before is not None and before.ends is not None and not shot.elapsed:
            here += _of_neighbours(before.name, before.ends.last, shot)
        here += _of_line(sights, shot)
        here += _inside(shot)
        runs[shot.scene] = _run(runs.get(shot.scene, 0), before, shot)
        if runs[shot.scene] == RUN_OF_LENS:
            focal = shot.ends.first.focal_mm
            here.append(_cut("lens_run", "note", COMMON, lens_mm=focal, in_a_row=3))
        found.append(tuple(here))
        for end in (*shot.ends.left, shot.ends.last):
            sights[end.line_of] = _Sight(shot=shot.name, end=end)
    return tuple(found)


def lens_use(shots: Iterable[CutShot]) -> dict[float, int]:
    """Return how many shots use each focal length, ascending [mm]."""
    used = [shot.ends.first.focal_mm for shot in shots if shot.ends is not None]
    return {focal: used.count(focal) for focal in sorted(set(used))}


def _cut(name: str, severity: str, source: str, **numbers: float | str) -> Finding:
    return Finding(
        name=name,
        severity=severity,
        subject_of=OF_CUT,
        numbers=numbers,
        source=source,
    )


def _run(run: int, before: CutShot | None, shot: CutShot) -> int:
    """Return how many shots in a row one lens has been used for."""
    if before is None or before.ends is None or shot.ends is None:
        return 1
    same = before.ends.last.focal_mm == shot.ends.first.focal_mm
    return run + 1 if same else 1


def _of_neighbours(name: str, out: CutEnd, shot: CutShot) -> list[Finding]:
    """Return the findings of two shots that follow one another."""
    assert shot.ends is not None
    into = shot.ends.first
    found = []
    if out.subject == into.subject:
        found += _of_same_subject(name, out, into)
    found += _of_reverses(name, out, into)
    found += _of_eyes(name, out, into)
    found += _of_places(name, out, into)
    return found


def _of_same_subject(name: str, out: CutEnd, into: CutEnd) -> list[Finding]:
    turn = float(turn_rad(direction_of(out), direction_of(into)))
    numbers: dict[str, float | str] = {
        "against": name,
        "subject": into.subject,
        "turn_deg": degrees(turn),
    }
    if out.scale is None or into.scale is None:
        return []
    steps = float(size_steps(out.scale, into.scale))
    numbers |= {"from_size": out.span, "to_size": into.span, "size_steps": steps}
    found = []
    if steps > MOST_SIZE_STEPS:
        found.append(_cut("size_jump", "note", COMMON, **numbers))
    if steps >= TWO_STEPS or turn >= WEAK_TURN_RAD:
        return found
    same = steps < SAME_SIZE_STEPS
    if turn < LEAST_TURN_RAD:
        nothing = (
            same
            and out.focal_mm == into.focal_mm
            and out.side == into.side
            and same_height(out, into)
        )
        if nothing:
            numbers["lens_mm"] = into.focal_mm
            found.append(_cut("adds_nothing", "warning", THIRTY_RULE, **numbers))
        else:
            severity = "warning" if same else "note"
            found.append(_cut("under_30_degrees", severity, THIRTY_RULE, **numbers))
    elif same:
        found.append(_cut("size_unchanged", "note", COMMON, **numbers))
    return found


def _of_reverses(name: str, out: CutEnd, into: CutEnd) -> list[Finding]:
    """Return a note where two who answer each other are not shot alike."""
    if not are_reverses(out, into):
        return []
    if out.focal_mm == into.focal_mm and same_height(out, into):
        return []
    numbers: dict[str, float | str] = {
        "against": name,
        "from_lens_mm": out.focal_mm,
        "to_lens_mm": into.focal_mm,
        "from_height_m": out.lens[1],
        "to_height_m": into.lens[1],
    }
    return [_cut("unmatched_reverses", "note", REVERSE_RULE, **numbers)]


def _of_eyes(name: str, out: CutEnd, into: CutEnd) -> list[Finding]:
    if out.u is None or out.v is None or into.u is None or into.v is None:
        return []
    aspect = into.tan_u / into.tan_v
    travel = float(eye_travel(out.u, out.v, into.u, into.v, aspect))
    if travel < EYE_JUMPS[0]:
        return []
    severity = "warning" if travel >= EYE_JUMPS[1] else "note"
    numbers: dict[str, float | str] = {
        "against": name,
        "half_frames": travel,
        "from_u": out.u,
        "to_u": into.u,
    }
    return [_cut("eye_jump", severity, COMMON, **numbers)]


def _places(end: CutEnd) -> dict[str, tuple[Point, float]]:
    """Return floor point and speed of everyone in a shot, by name."""
    places = {name: ((x, y, z), speed) for name, x, y, z, speed in end.others}
    places[end.subject] = (end.place, hypot(*end.velocity))
    return places


def _of_places(name: str, out: CutEnd, into: CutEnd) -> list[Finding]:
    """Return who stands elsewhere after a cut across which time runs on."""
    before, after = _places(out), _places(into)
    found = []
    for subject in sorted(before.keys() & after.keys()):
        (was, speed), (now, later) = before[subject], after[subject]
        moved = dist(was, now)
        explained = MOVED_M + max(speed, later) * MOVED_S
        if moved > explained:
            severity = "warning" if moved > explained + MOVED_FAR_M else "note"
            numbers: dict[str, float | str] = {
                "against": name,
                "subject": subject,
                "moved_m": moved,
                "explained_m": explained,
            }
            found.append(_cut("subject_moved", severity, COMMON, **numbers))
    return found


def _of_line(sights: dict[str, _Sight], shot: CutShot) -> list[Finding]:
    """Return what became of the line of action since it was last seen."""
    assert shot.ends is not None
    into = shot.ends.first
    sight = sights.get(into.line_of)
    if sight is None:
        return []
    out = sight.end
    numbers: dict[str, float | str] = {"against": sight.shot, "subject": into.line_of}
    if out.side * into.side == -1:
        numbers |= _sides(out, into)
        if turned(out, into):
            return [_cut("screen_direction", "note", DIRECTION_RULE, **numbers)]
        if out.near_axis or into.near_axis:
            return [_cut("near_axis", "note", LINE_RULE, **numbers)]
        return [_cut("crosses_line", "fault", LINE_RULE, **numbers)]
    if into.line != "pair" or out.subject != into.subject:
        return []
    # With a pair the line does not tell which way one of them runs.
    slow = min(abs(out.across_m_s), abs(into.across_m_s))
    if slow >= MOVING_M_S and out.across_m_s * into.across_m_s < 0:
        numbers["subject"] = into.subject
        numbers["from_m_s"], numbers["to_m_s"] = out.across_m_s, into.across_m_s
        return [_cut("screen_direction", "warning", DIRECTION_RULE, **numbers)]
    return []


def _sides(out: CutEnd, into: CutEnd) -> dict[str, float | str]:
    off, on = out.off_line_rad, into.off_line_rad
    assert off is not None
    assert on is not None
    kind = into.line if out.line == into.line else "changed"
    return {"from_deg": degrees(off), "to_deg": degrees(on), "line": kind}


def _inside(shot: CutShot) -> list[Finding]:
    """Return a note where the camera changes sides in view, which is the way to."""
    assert shot.ends is not None
    first, last = shot.ends.first, shot.ends.last
    if first.line_of != last.line_of or first.side * last.side != -1:
        return []
    if first.near_axis or last.near_axis:
        return []
    return [
        Finding(
            name="crosses_in_shot",
            severity="note",
            subject_of=OF_SHOT,
            numbers={"subject": first.line_of, **_sides(first, last)},
            source=LINE_RULE,
        )
    ]
