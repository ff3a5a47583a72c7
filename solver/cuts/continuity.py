"""Continuity: what every cut of a sequence is faulted for, chosen or fixed.

A cut is judged at its two frames, inside a scene: against the shot before, for lines of
action against the last shot that had the same people in the action (`lines`), and for
who comes in against the side by which they went. Where time has elapsed nothing carries
over. A lone mover that crosses the line changes its screen direction too, and the two
are one finding.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from math import degrees, dist, hypot
from typing import NamedTuple

from .at_cut import Point
from .brings import PLACE, TIME, News, news_of
from .end import CutEnd, ShotEnds, direction_of
from .findings import COMMON, OF_CUT, OF_SHOT, Finding
from .lines import ActionLine, LineMemory, lines_of, turned
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
        shows: places and props that it is known to show.
        alone: whether it is no shot of the cut, but a camera of an action: no cut
            leads into it, and later shots know nothing of it.
    """

    name: str
    scene: str
    elapsed: bool
    ends: ShotEnds | None
    shows: tuple[str, ...] = ()
    alone: bool = False


class _Sight(NamedTuple):
    """The shot that had the last sight of a line of action, and its end."""

    shot: str
    end: CutEnd


@dataclass(slots=True)
class _Scene:
    """What is remembered of a scene as its shots pass by.

    `went` has by which side people were gone at the end of which shot.
    """

    lines: LineMemory[_Sight] = field(default_factory=LineMemory)
    went: dict[str, tuple[str, str]] = field(default_factory=dict)
    run: int = 0


def cut_findings(shots: Sequence[CutShot]) -> tuple[tuple[Finding, ...], ...]:
    """Return for each shot what the cut into it is faulted for, and its inner cuts.

    Args:
        shots: a whole sequence, in its order.

    Returns:
        A tuple of findings a shot, in a fixed order; empty for the first of a scene.
    """
    scenes: dict[str, _Scene] = {}
    found: list[tuple[Finding, ...]] = []
    for k, shot in enumerate(shots):
        if shot.alone:
            found.append(() if shot.ends is None else tuple(_inside(shot)))
            continue
        before = shots[k - 1] if k and shots[k - 1].scene == shot.scene else None
        scene = scenes.setdefault(shot.scene, _Scene())
        if shot.elapsed:
            scene.lines.clear()
            scene.went.clear()
        if shot.ends is None:
            found.append(())
            scene.run = 0
            continue
        here: list[Finding] = []
        if before is not None and before.ends is not None and not shot.elapsed:
            here += _of_neighbours(before, shot)
        here += _of_lines(scene.lines, shot.ends.first)
        here += _of_entrances(scene.went, shot)
        here += _inside(shot)
        scene.run = _run(scene.run, before, shot)
        if scene.run == RUN_OF_LENS:
            focal = shot.ends.first.focal_mm
            here.append(_cut("lens_run", "note", COMMON, lens_mm=focal, in_a_row=3))
        found.append(tuple(here))
        scene.lines.see(shot.ends.last, _Sight(shot.name, shot.ends.last))
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


def cut_news(before: CutShot, shot: CutShot) -> tuple[News, ...]:
    """Return what the cut from one shot to the next brings that is new.

    Between scenes, and where time has elapsed, that alone is told.
    """
    places = [News(PLACE, name) for name in shot.shows if name not in before.shows]
    apart = [News(PLACE, shot.scene)] if before.scene != shot.scene else []
    if shot.elapsed:
        apart.append(News(TIME, ""))
    if apart or before.ends is None or shot.ends is None:
        return (*apart, *places)
    return (*places, *news_of(before.ends, shot.ends))


def _of_neighbours(before: CutShot, shot: CutShot) -> list[Finding]:
    """Return the findings of two shots that follow one another."""
    assert before.ends is not None
    assert shot.ends is not None
    name, out, into = before.name, before.ends.last, shot.ends.first
    found = []
    if out.subject == into.subject:
        brings = bool(cut_news(before, shot))
        found += _of_same_subject(name, out, into, brings=brings)
    found += _of_reverses(name, out, into)
    found += _of_eyes(name, out, into)
    found += _of_places(name, out, into)
    return found


def _of_same_subject(
    name: str, out: CutEnd, into: CutEnd, *, brings: bool
) -> list[Finding]:
    """Return what two pictures of one person are faulted for.

    Args:
        name: of the shot before.
        out: how it ends.
        into: how the next begins.
        brings: whether the cut brings anything new.
    """
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
        if not brings:
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
    places = {name: ((x, y, z), speed) for name, x, y, z, speed, _ in end.others}
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


def _of_lines(memory: LineMemory[_Sight], into: CutEnd) -> list[Finding]:
    """Return what became of the lines of action since they were last seen."""
    found, paired = [], False
    for line, before, sight in memory.compared(into):
        out = sight.end
        paired |= line.kind == "pair" and into.subject in line.people
        if before.side(out.lens) != line.side(into.lens):
            found.append(_crossing(line, before, sight, into))
    return found or (_turns_round(memory, into) if paired else [])


def _crossing(
    line: ActionLine, before: ActionLine, sight: _Sight, into: CutEnd
) -> Finding:
    """Return the finding of a camera on the other side of a line."""
    out = sight.end
    numbers: dict[str, float | str] = {
        "against": sight.shot,
        "subject": line.of,
        "from_deg": degrees(before.off_rad(out.lens)),
        "to_deg": degrees(line.off_rad(into.lens)),
        "line": line.kind if line.kind == before.kind else "changed",
    }
    if turned(before, line):
        return _cut("screen_direction", "note", DIRECTION_RULE, **numbers)
    if before.is_near(out.lens) or line.is_near(into.lens):
        return _cut("near_axis", "note", LINE_RULE, **numbers)
    followed = {out.subject, into.subject} & set(line.people)
    severity = "fault" if followed else "warning"
    return _cut("crosses_line", severity, LINE_RULE, **numbers)


def _turns_round(memory: LineMemory[_Sight], into: CutEnd) -> list[Finding]:
    """Return a warning where one of a pair runs the other way than last seen.

    With a pair the line does not tell which way one of them runs.
    """
    for line, _, sight in memory.compared(into):
        out = sight.end
        if into.subject not in line.people or out.subject != into.subject:
            continue
        slow = min(abs(out.across_m_s), abs(into.across_m_s))
        if slow >= MOVING_M_S and out.across_m_s * into.across_m_s < 0:
            numbers: dict[str, float | str] = {
                "against": sight.shot,
                "subject": into.subject,
                "from_m_s": out.across_m_s,
                "to_m_s": into.across_m_s,
            }
            return [_cut("screen_direction", "warning", DIRECTION_RULE, **numbers)]
    return []


def _of_entrances(went: dict[str, tuple[str, str]], shot: CutShot) -> list[Finding]:
    """Return who comes in by the side by which they went, and note who goes."""
    assert shot.ends is not None
    found = []
    for one in shot.ends.people:
        side, against = went.get(one.name, (None, ""))
        if side is not None and one.came == side:
            numbers = {"against": against, "subject": one.name, "side": side}
            found.append(_cut("same_side", "warning", DIRECTION_RULE, **numbers))
        if one.ever:
            went.pop(one.name, None)
            if one.went is not None:
                went[one.name] = one.went, shot.name
    return found


def _inside(shot: CutShot) -> list[Finding]:
    """Return notes where the camera changes sides in view, which is the way to."""
    assert shot.ends is not None
    first, last = shot.ends.first, shot.ends.last
    begun, ended = lines_of(first), lines_of(last)
    pairs = any("|" in of for of in begun.keys() & ended.keys())
    found = []
    for of, line in begun.items():
        after = ended.get(of)
        if after is None or first.subject not in line.people:
            continue
        if pairs and line.kind != "pair":
            continue
        if line.is_near(first.lens) or after.is_near(last.lens):
            continue
        if line.side(first.lens) == after.side(last.lens) or turned(line, after):
            continue
        numbers: dict[str, float | str] = {
            "subject": of,
            "from_deg": degrees(line.off_rad(first.lens)),
            "to_deg": degrees(after.off_rad(last.lens)),
            "line": line.kind if line.kind == after.kind else "changed",
        }
        found.append(
            Finding(
                name="crosses_in_shot",
                severity="note",
                subject_of=OF_SHOT,
                numbers=numbers,
                source=LINE_RULE,
            )
        )
    return found
