"""What a choice of setups costs, computed plainly, one shot after the other.

Written from the definition in `solver.sequence` and nothing else of it: no tables, no
memory of a programme, only the list of shots that have been.
"""

from collections.abc import Mapping, Sequence
from itertools import product
from math import acos, degrees, hypot, log

import numpy as np

from carrellata.solver.cuts.cost import CutCosts
from carrellata.solver.cuts.end import CutEnd
from carrellata.solver.cuts.open_shot import OpenShot, State


def whole(points: float) -> int:
    return round(points * 1e6)


def _angle_deg(one: CutEnd, two: CutEnd) -> float:
    a, b = (np.array(end.lens) - np.array(end.eyes) for end in (one, two))
    return degrees(acos(np.clip(a @ b / np.linalg.norm(a) / np.linalg.norm(b), -1, 1)))


def _people(end: CutEnd) -> dict[str, np.ndarray]:
    """Floor points of everybody in the action, on the plan."""
    places = {name: np.array([x, z]) for name, x, _, z, _, _ in end.others}
    return places | {end.subject: np.array([end.place[0], end.place[2]])}


def _lines(end: CutEnd) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """A point and a direction of each line of action, by whose it is."""
    people = _people(end)
    found = {}
    for one in people:
        for two in people:
            along = people[two] - people[one]
            if one < two and np.linalg.norm(along) >= 0.3:
                point = (people[one] + people[two]) / 2
                if end.subject in (one, two):
                    point = people[end.subject]
                found[f"{one}|{two}"] = point, along
    own = {name: along for name, *_, along in end.others}
    own[end.subject] = end.line_rad
    for name, bearing in own.items():
        if bearing is not None:
            way = np.array([-np.sin(bearing), -np.cos(bearing)])
            found[name] = people[name], way
    return found


def _off_deg(end: CutEnd, of: str) -> float:
    """Signed angle of the camera off a line, by cross and dot product."""
    point, along = _lines(end)[of]
    to = np.array([end.lens[0], end.lens[2]]) - point
    return degrees(np.arctan2(along[1] * to[0] - along[0] * to[1], along @ to))


def line_cost(out: CutEnd, into: CutEnd, of: str, costs: CutCosts) -> float:
    one, two = _off_deg(out, of), _off_deg(into, of)
    if (one >= 0) == (two >= 0):
        return 0.0
    if _lines(out)[of][1] @ _lines(into)[of][1] < 0:
        return costs.screen_direction
    near = min(min(abs(off), 180 - abs(off)) for off in (one, two)) < 10
    return costs.near_axis if near else costs.crosses_line


def pair_cost(out: CutEnd, into: CutEnd, costs: CutCosts) -> int:
    total = 0
    if None not in (out.u, into.u):
        aspect = into.tan_u / into.tan_v
        u, to_u, v, to_v = (max(-1, min(1, x)) for x in (out.u, into.u, out.v, into.v))
        travel = hypot(to_u - u, (to_v - v) / aspect)
        total += whole(min(costs.eye_jump * travel, costs.most_eye_jump))
    if out.subject == into.subject and None not in (out.size, into.size):
        ratio = (out.size / out.share) / (into.size / into.share)
        steps = abs(log(ratio)) / log(1.5)
        angle = _angle_deg(out, into)
        if angle < 30:
            part = (
                1.0
                if steps < 0.5
                else costs.one_step
                if steps < 1.5
                else costs.two_steps
            )
            total += whole(costs.thirty_degrees * (1 - angle / 30) * part)
            if steps < 0.5 and out.focal_mm == into.focal_mm:
                total += whole(costs.same_picture)
        total += whole(costs.size_jump * max(0.0, steps - 4))
    both = {out.subject, into.subject}
    pair = all(both <= _standing(end) for end in (out, into))
    if pair and out.subject != into.subject and out.focal_mm == into.focal_mm:
        level = abs(out.lens[1] - into.lens[1]) <= 0.15
        if level or degrees(abs(out.elevation_rad - into.elevation_rad)) <= 5:
            total -= whole(costs.matched_reverse)
    return total


def _standing(end: CutEnd) -> set[str]:
    """Who stands; in these tests nobody is framed with another."""
    found = {name for name, _, _, _, speed, _ in end.others if speed < 0.5}
    return found | ({end.subject} if hypot(*end.velocity) < 0.5 else set())


def path_cost(
    shots: Sequence[OpenShot],
    picks: Sequence[int],
    costs: CutCosts,
    letters: Mapping[str, str],
) -> int | None:
    """Return what a choice costs [micro-points], None if it breaks a letter."""
    states = [shot.states[k] for shot, k in zip(shots, picks, strict=True)]
    use = dict(costs.lens_use)
    total = 0
    for k, (shot, state) in enumerate(zip(shots, states, strict=True)):
        points = state.score + use.get(state.first.focal_mm, costs.other_lenses)
        if state.size:
            points += dict(costs.size_use).get(state.size, costs.other_sizes)
        total += whole(points)
        follows = k > 0 and shots[k - 1].scene == shot.scene
        if follows and not shot.elapsed:
            total += pair_cost(states[k - 1].last, state.first, costs)
            one, two = states[k - 1], state
            if one.last.subject == two.first.subject and one.view == two.view != "":
                total += whole(costs.same_view)
        crossed = [
            line_cost(sight, state.first, of, costs)
            for of, sight in _last_sights(shots, states, k)
        ]
        total += whole(max(crossed, default=0.0))
        back = [states[j].first.focal_mm for j in (k - 1, k - 2) if j >= 0]
        scenes = [shots[j].scene for j in (k - 1, k - 2) if j >= 0]
        if len(back) == 2 and set(back) == {state.first.focal_mm}:
            total += whole(costs.lens_run) * (set(scenes) == {shot.scene})
        for j in range(k):
            letter = letters.get(shots[j].name)
            same = letter is not None and letter == letters.get(shot.name)
            shared = same and shots[j].scene == shot.scene
            if shared and states[j].setup != state.setup:
                return None
    return total


def _last_sights(
    shots: Sequence[OpenShot], states: Sequence[State], k: int
) -> list[tuple[str, CutEnd]]:
    """Return the lines that shot k is held against, each with its last sight."""
    before = []
    for j in range(k, -1, -1):
        if shots[j].scene == shots[k].scene:
            if j < k:
                before.append(states[j].last)
            if shots[j].elapsed:
                break
    into, found = states[k].first, []
    lines = _lines(into)
    for of in lines:
        sight = next((end for end in before if of in _lines(end)), None)
        if sight is None:
            continue
        if "|" not in of:
            latest = next(end for end in before if of in _people(end))
            pairs = ["|".join(sorted((of, q))) for q in _people(latest) if q != of]
            seen = [pair for end in before for pair in _lines(end)]
            if any(pair in lines and pair in seen for pair in pairs):
                continue
        found.append((of, sight))
    return found


def brute_force(
    shots: Sequence[OpenShot],
    costs: CutCosts,
    letters: Mapping[str, str],
    gains: Sequence[Sequence[int]],
) -> dict[tuple[int, ...], int]:
    """Return the cost of every choice that is allowed, gains taken off."""
    found = {}
    for picks in product(*(range(len(shot.states)) for shot in shots)):
        cost = path_cost(shots, picks, costs, letters)
        if cost is not None:
            found[picks] = cost - sum(gains[k][i] for k, i in enumerate(picks))
    return found
