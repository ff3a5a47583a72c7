"""A trial is the take: same plans, same numbers as `measure` gives."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from asks import OPEN_VIEWS, open_ask, person
from shots import circle, walk, zigzag

from carrellata.solver.measures.measure import measure
from carrellata.solver.optics.lens import Lens
from carrellata.solver.setups.judge import (
    ANGLED,
    CLOSEST,
    DRIFT,
    HEAD_HELD,
    HEADROOM_OFF,
    IN,
    PAN_REVERSALS,
    RAIL_HIGH,
    RAIL_LOW,
    REVERSALS,
    RIPPLE,
    SAFE_IN,
    SIZED,
    TILT_RATE,
    TILT_REVERSALS,
)
from carrellata.solver.setups.proposal import build
from carrellata.solver.setups.propose import propose_rails, propose_standing
from carrellata.solver.setups.setup import Ask, in_setup
from carrellata.solver.setups.trial import Rehearsal
from carrellata.solver.shake import LEVELS
from carrellata.solver.take import operate

PATHS = {
    "walk": walk(1.4),
    "runner": walk(6.0, start=(-12.0, 0.0, 2.0)),
    "circle": circle(radius=4.0, speed=3.0),
    "zigzag": zigzag(),
}


def ask_of(name: str, size: str = "cowboy") -> Ask:
    path = PATHS[name]
    ask = open_ask(person(path(np.arange(97) / 24)), size, seen_from=OPEN_VIEWS[:3])
    shake = LEVELS["shoulder"]  # so that the final picture is not the base camera's
    return replace(ask, shot=replace(ask.shot, shake=shake))


@pytest.mark.parametrize("name", PATHS)
def test_a_trial_gives_the_poses_and_the_measures_of_the_take(name: str) -> None:
    ask = ask_of(name)
    stage = Rehearsal(ask)
    layouts = [
        *propose_standing(stage.known)[:4],
        *propose_rails(stage.known, ask.lenses[2:4]),
    ]
    kinds = set()
    for layout in layouts:
        setup = build(layout, ask)
        if setup is None:
            continue
        kinds.add(setup.rig.kind)
        trial = stage.tried(setup)
        take = operate(in_setup(ask.shot, setup))
        found, numbers = measure(take), trial.numbers
        np.testing.assert_array_equal(trial.cams[:, 3], take.pan[:, 0])
        np.testing.assert_array_equal(trial.cams[:, 4], take.tilt[:, 0])
        np.testing.assert_array_equal(trial.cams[:, :3], take.base)
        seen = np.isfinite(take.u)  # not behind the lens
        np.testing.assert_array_equal(np.isfinite(trial.screen[:, 0]), seen)
        seen &= np.isfinite(take.size)
        for column, of_take in enumerate((take.u, take.v, take.size)):
            np.testing.assert_allclose(
                trial.screen[seen, column], of_take[seen], atol=1e-12
            )
        for key, index in (
            ("in_frame", IN),
            ("in_safe", SAFE_IN),
            ("head_in_frame", HEAD_HELD),
            ("pan_reversals", PAN_REVERSALS),
            ("tilt_reversals", TILT_REVERSALS),
            ("size_kept", SIZED),
            ("angle_kept", ANGLED),
            ("reversals", REVERSALS),
        ):
            assert numbers[index] == pytest.approx(found[key], abs=1e-12), key
        if found["drift_max"] is not None and found["drift_max"] < 9:
            assert numbers[DRIFT] == pytest.approx(found["drift_max"], abs=1e-12)
        covered = numbers[RAIL_HIGH] - numbers[RAIL_LOW]
        assert covered == pytest.approx(found["dolly_m"], abs=1e-12)
        feet, crown = stage.action.bodies[0]
        share = np.linspace(0, 1, 1001)[:, None, None]
        body = feet + share * (crown - feet)
        nearest = np.linalg.norm(body - take.base, axis=2).min()
        assert numbers[CLOSEST] == pytest.approx(nearest, abs=2e-3)
        off = np.abs(take.crown_v - stage.action.crown_v - ask.shot.gate.axis_v)
        room = float(np.minimum(off, 9.0).mean() / 2)
        assert numbers[HEADROOM_OFF] == pytest.approx(room, abs=1e-9)
        if found["pan_ripple_deg_s"] is not None:
            ripple = np.degrees(numbers[RIPPLE])
            assert ripple == pytest.approx(
                found["pan_ripple_deg_s"], rel=1e-6, abs=1e-9
            )
        tilts = found["tilt_decisions_per_s"]
        assert numbers[TILT_RATE] == pytest.approx(tilts, rel=0.02)
        assert trial.pan_rate == pytest.approx(found["pan_decisions_per_s"], rel=0.02)
    assert {"sticks", "track"} <= kinds


def test_beliefs_are_shared_between_trials_and_change_nothing() -> None:
    ask = ask_of("runner")
    stage = Rehearsal(ask)
    setups = [build(one, ask) for one in propose_standing(stage.known)]
    first = [stage.tried(s).numbers for s in setups if s is not None]
    fresh = [Rehearsal(ask).tried(s).numbers for s in setups if s is not None]
    np.testing.assert_array_equal(first, fresh)


def faster(ask: Ask) -> Ask:
    grip = ask.shot.crew.grip
    quick = replace(grip, max_speed=2 * grip.max_speed, max_accel=2 * grip.max_accel)
    crew = replace(ask.shot.crew, grip=quick)
    return replace(ask, shot=replace(ask.shot, crew=crew))


def wider(ask: Ask) -> Ask:
    framings = tuple(
        replace(framing, distance_m=1.6 * framing.distance_m)
        for framing in ask.shot.framings
    )
    return replace(ask, shot=replace(ask.shot, framings=framings))


def shorter(ask: Ask) -> Ask:
    return replace(ask, lenses=(Lens(14.0),))


@pytest.mark.parametrize("change", [faster, wider, shorter])
def test_a_changed_ask_is_rehearsed_as_if_it_were_the_first(
    change: Callable[[Ask], Ask],
) -> None:
    ask = ask_of("runner")
    changed = change(ask)
    known = Rehearsal(ask)
    propose_standing(known.known)
    seen, fresh = known.changed(changed), Rehearsal(changed)
    layouts = [
        *propose_standing(fresh.known),
        *propose_rails(fresh.known, changed.lenses[:1]),
    ]
    assert layouts == [
        *propose_standing(seen.known),
        *propose_rails(seen.known, changed.lenses[:1]),
    ]
    setups = [s for s in (build(one, changed) for one in layouts) if s is not None]
    found = [seen.tried(setup).numbers for setup in setups]
    np.testing.assert_array_equal(found, [fresh.tried(s).numbers for s in setups])
    before = [known.tried(setup).numbers for setup in setups]
    assert (np.array(before) != np.array(found)).any() or change is shorter
