"""Cameras see one another where points of them are in frame, projected plainly."""

from dataclasses import replace

import numpy as np
import pytest
from covered import camera, pair

from carrellata.solver.coverage.unseen import (
    ABOVE_M,
    clash_of,
    first_seen,
    ground_of,
    standing,
)
from carrellata.solver.rigs.track import track
from carrellata.solver.take import Take, operate


def points_of(take: Take, k: int) -> np.ndarray:
    """Points of a camera at a sample: its post from the ground up, and its rails."""
    lens = take.base[k]
    share = np.linspace(0.0, 1.0, 60)[:, None]
    foot, top = lens * [1.0, 0.0, 1.0], lens + np.array([0.0, ABOVE_M, 0.0])
    points = [foot + share * (top - foot)]
    if take.shot.rig.length_m > 0:
        rail = take.shot.rig.places(np.linspace(0.0, take.shot.rig.length_m, 400))
        points.append(rail * [1.0, 0.0, 1.0])
    return np.concatenate(points)


def in_frame(take: Take, points: np.ndarray, k: int) -> np.ndarray:
    """Whether points are in the final frame, by its quaternion and nothing else."""
    x, y, z, w = take.turn[k]
    turn = np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
            [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
            [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
        ]
    )
    right, up, back = ((points - take.place[k]) @ turn).T
    tan_u, tan_v = take.shot.tangents
    ahead = back < -1e-6
    depth = np.where(ahead, -back, 1.0)
    u, v = right / depth / tan_u, up / depth / tan_v + take.shot.gate.axis_v
    seen: np.ndarray = ahead & (np.abs(u) <= 1) & (np.abs(v) <= 1)
    return seen


def plainly_seen(looks: Take, other: Take) -> bool:
    frames = range(0, len(looks.times_s), 6)
    return any(in_frame(looks, points_of(other, k), k).any() for k in frames)


@pytest.mark.parametrize("seed", range(3))
def test_whoever_is_seen_plainly_is_seen(seed: int) -> None:
    rng = np.random.default_rng(seed)
    people = pair(4.0)
    takes = []
    for _ in range(4):
        angle, far = rng.uniform(0, 2 * np.pi), rng.uniform(3, 9)
        place = far * np.sin(angle), rng.uniform(0.5, 2.2), far * np.cos(angle)
        one = camera(people, place, on=(1.0, 0.5), focal_mm=rng.choice([25, 50, 75]))
        takes.append(operate(one))
    ground = ground_of(takes[0])
    assert ground == 0.0
    stands = [standing(take, ground) for take in takes]
    kinds = set()
    for j, looks in enumerate(takes):
        for k, other in enumerate(takes):
            if j == k:
                continue
            seen = first_seen(stands[j], stands[k]) >= 0
            kinds.add(seen)
            if plainly_seen(looks, other):
                assert seen
            if not seen:
                assert not plainly_seen(looks, other)
    assert kinds == {True, False}


def test_rails_are_seen_where_the_lens_is_not_and_nearness_is_in_the_way() -> None:
    people = pair(4.0)
    looks = operate(camera(people, (0.0, 1.6, 6.0), on=(1.0, 1.0), size="full"))
    rail = track([-7.0, 1.5, -6.0], [7.0, 1.5, -6.0])
    side = camera(people, (0.0, 1.5, -6.0))
    dolly = operate(replace(side, rig=rail, side_offset=(-9.0, 0.0, -6.0)))
    ground = ground_of(looks)
    clash = clash_of(standing(looks, ground), standing(dolly, ground))
    assert clash is not None
    assert clash.what == "sees"
    beside = operate(camera(people, (0.6, 1.6, 6.0)))
    clash = clash_of(standing(looks, ground), standing(beside, ground))
    assert clash == ("way", 0)
    behind = operate(camera(people, (2.0, 1.6, 6.8)))
    assert clash_of(standing(looks, ground), standing(behind, ground)) is None
