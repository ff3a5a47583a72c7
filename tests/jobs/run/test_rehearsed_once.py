"""The cameras of an action share what the crew believes of it, and nothing else."""

from dataclasses import replace

import numpy as np
import pytest
from covered import camera, pair

from carrellata.jobs.run import rehearsed_once as module
from carrellata.jobs.run.rehearsed_once import rehearsed_once
from carrellata.solver.setups.work import watched


def test_cameras_of_an_action_share_one_belief(monkeypatch: pytest.MonkeyPatch) -> None:
    count = []

    def counted(shot):
        count.append(shot.name)
        return watched(shot)

    monkeypatch.setattr(module, "watched", counted)
    monkeypatch.setattr(module, "_last", [])
    people = pair(4.0)
    single = camera(people, (1.2, 1.6, 3.5))
    other = camera(pair(4.0), (-4, 1.7, 1.4), on=(0.0, 1.0), size="full", focal_mm=35)
    first, second = rehearsed_once(single), rehearsed_once(other)
    assert second is first
    assert len(count) == 1
    alone = watched(other)
    for seen, own in ((second.grip, alone.grip), (second.operator, alone.operator)):
        for one, two in zip(seen, own, strict=True):
            np.testing.assert_array_equal(one, two)


def test_another_action_crew_or_stretch_is_believed_anew() -> None:
    shot = camera(pair(4.0), (1.2, 1.6, 3.5))
    moved = replace(shot.subjects[1], floor=shot.subjects[1].floor + 1e-9)
    slow = replace(shot.crew, operator=replace(shot.crew.operator, reaction_s=0.5))
    changed = (
        replace(shot, subjects=(shot.subjects[0], moved)),
        replace(shot, crew=slow),
        replace(shot, last=shot.last - 1),
    )
    for other in changed:
        assert rehearsed_once(other) is not rehearsed_once(shot)
