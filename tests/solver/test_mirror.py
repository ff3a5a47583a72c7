"""A scene in a mirror gets the mirrored setup: nothing prefers one hand."""

from dataclasses import replace

import numpy as np
import pytest
from asks import OPEN_VIEWS, open_ask, person

from carrellata.solver.action.subject import Subject
from carrellata.solver.setups.search import candidates
from carrellata.solver.setups.setup import Ask
from carrellata.solver.stage.stage import Stage

SECONDS = np.arange(97) / 24
MIRROR = np.array([-1.0, 1.0, 1.0])


def turning(t: np.ndarray) -> np.ndarray:
    return np.column_stack([3 * np.sin(0.5 * t), 0 * t, -3 * np.cos(0.5 * t)])


def bent(t: np.ndarray) -> np.ndarray:
    return np.column_stack([1.4 * t, 0 * t, 0.12 * t * t])


PATHS = {
    "bent": bent(SECONDS),
    "turning": turning(SECONDS),
    "slow": bent(0.4 * SECONDS),
}
ROOM = np.array([(-5.0, -4.0), (9.0, -4.5), (9.5, 6.0), (-5.0, 5.0)])


def mirrored(subject: Subject) -> Subject:
    return replace(
        subject,
        floor=subject.floor * MIRROR,
        eyes=subject.eyes * MIRROR,
        facing_rad=-subject.facing_rad,
    )


def in_mirror(ask: Ask) -> Ask:
    stage = ask.stage
    if stage.floor is not None:
        stage = replace(stage, floor=stage.floor * MIRROR[[0, 2]])
    shot = replace(ask.shot, subjects=tuple(map(mirrored, ask.shot.subjects)))
    return replace(ask, shot=shot, stage=stage)


def best(ask: Ask):
    found = candidates(ask)
    assert found[0].holds
    return found[0]


@pytest.mark.parametrize("room", [None, ROOM], ids=["anywhere", "room"])
@pytest.mark.parametrize("path", PATHS)
def test_the_mirrored_scene_gets_the_mirrored_setup(path, room) -> None:
    stage = Stage(floor=room, heights=(0.3, 2.6), min_distance_m=1.0)
    ask = open_ask(person(PATHS[path]), stage=stage, seen_from=OPEN_VIEWS)
    one, two = best(ask), best(in_mirror(ask))
    assert two.score == pytest.approx(one.score, abs=1e-4)
    assert two.setup.rig.kind == one.setup.rig.kind
    assert two.setup.lens == one.setup.lens
    rig, other = one.setup.rig, two.setup.rig
    s = rig.drawn_s
    places = rig.places(s) * MIRROR
    assert other.places(other.drawn_s) == pytest.approx(places, abs=0.005)
