"""Composed by the head: headroom, feet, bounce, and who is let go."""

import dataclasses

import numpy as np
import pytest
from shots import (
    GATE,
    HEADROOM,
    acted,
    bouncing,
    framing,
    shot,
    sticks,
    walk,
)

from carrellata.solver.action.body import EYES
from carrellata.solver.frame.projection import project
from carrellata.solver.take import operate


def crown_v(take, k=0):
    """V of the crown of subject k, and its u."""
    tx, ty = take.shot.tangents
    crown = take.shot.subjects[k].at(take.times_s, 1.0 / EYES)
    roll = take.shot.roll_rad
    u, v, _ = project(crown, take.base, take.pan[:, 0], take.tilt[:, 0], roll, tx, ty)
    return v, u


def standing(distance, size="full", roll=0.0, **fields):
    person = acted(walk(0.0, start=(0.0, 0.0, 0.0)), 3.0)
    asked = dataclasses.replace(framing(size), **fields)
    return operate(shot(person, sticks(distance), roll_rad=roll, framings=(asked,)))


@pytest.mark.parametrize("roll", [0.0, 0.2])
@pytest.mark.parametrize("size", ["full", "medium", "close"])
def test_a_figure_larger_than_asked_keeps_its_headroom(size, roll):
    take = standing(0.6 * framing(size).distance_m, size, roll)
    v, _ = crown_v(take)
    assert v == pytest.approx(1.0 - 2.0 * HEADROOM, abs=0.02)


def test_a_figure_smaller_than_asked_keeps_its_middle():
    take = standing(2.0 * framing("full").distance_m)
    asked = framing("full")
    assert take.v[10:] == pytest.approx(asked.v + GATE.axis_v, abs=0.01)
    v, _ = crown_v(take)
    assert v.max() < 1.0 - 2.0 * HEADROOM - 0.1


def test_a_size_that_cuts_the_crown_does():
    take = standing(framing("eyes").distance_m, "eyes")
    v, _ = crown_v(take)
    assert v.min() > 1.0


def test_headroom_lies_over_the_crest_of_who_bounces_only():
    asked = framing("medium")
    rest = {"size": "medium", "focal_mm": 50.0}
    run = walk(0.0, start=(0.0, 0.0, 0.0))
    place = sticks(asked.distance_m)
    still, bounced = (
        operate(shot(acted(path, 8.0), place, **rest))
        for path in (run, bouncing(run, hz=2.7))
    )
    late = still.times_s > still.times_s[0] + 2.0
    calm, up = crown_v(still)[0][late], crown_v(bounced)[0][late]
    assert np.median(calm) == pytest.approx(1.0 - 2.0 * HEADROOM, abs=0.06)
    assert up.max() < 1.0
    assert np.median(up) < np.median(calm) - 0.05
    assert np.ptp(bounced.tilt[late, 0]) < 0.25 * np.ptp(up) * still.shot.tangents[1]


def test_of_two_who_walk_apart_the_primary_stays_in_the_frame():
    two = [
        acted(lambda t, s=s: np.column_stack([s * (1 + t), 0 * t, 0 * t]), 8.0, name=n)
        for s, n in ((-1.0, "a"), (1.0, "b"))
    ]
    asked = framing(weights=(1.0, 0.6))
    take = operate(shot(two, sticks(12.0), framings=(asked,)))
    one, other = (np.abs(crown_v(take, k)[1]) for k in range(2))
    t = take.times_s - take.times_s[0]
    assert one[t < 1.0].max() < 1.0
    assert other[t < 1.0].max() < 1.0
    assert one.max() < 1.0
    assert other[t > 6.0].min() > 1.0
    assert one[t > 7.0].max() < 0.3
