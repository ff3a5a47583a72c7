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


def _off_deg(end: CutEnd) -> float | None:
    """Signed angle of the camera off the line, by cross and dot product."""
    if end.line_rad is None:
        return None
    along = np.array([-np.sin(end.line_rad), -np.cos(end.line_rad)])
    to = np.array([end.lens[0] - end.eyes[0], end.lens[2] - end.eyes[2]])
    return degrees(np.arctan2(along[1] * to[0] - along[0] * to[1], along @ to))


def line_cost(out: CutEnd, into: CutEnd, costs: CutCosts) -> float:
    one, two = _off_deg(out), _off_deg(into)
    if one is None or two is None or (one >= 0) == (two >= 0):
        return 0.0
    turn = abs(np.degrees(into.line_rad - out.line_rad)) % 360
    if min(turn, 360 - turn) > 90:
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
    pair = out.line == into.line == "pair" and out.line_of == into.line_of
    if pair and out.subject != into.subject and out.focal_mm == into.focal_mm:
        level = abs(out.lens[1] - into.lens[1]) <= 0.15
        if level or degrees(abs(out.elevation_rad - into.elevation_rad)) <= 5:
            total -= whole(costs.matched_reverse)
    return total


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
        sight = _last_sight(shots, states, k)
        if sight is not None:
            total += whole(line_cost(sight, state.first, costs))
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


def _last_sight(
    shots: Sequence[OpenShot], states: Sequence[State], k: int
) -> CutEnd | None:
    """Return the last sight, before shot k, of the line on which it begins."""
    for j in range(k, -1, -1):
        if shots[j].scene != shots[k].scene:
            continue
        if j < k:
            for end in (states[j].last, *reversed(states[j].left)):
                if end.line_of == states[k].first.line_of:
                    return end
        if shots[j].elapsed:
            return None
    return None


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
