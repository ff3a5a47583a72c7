"""Heads in the final picture, and what hides them, by rotation matrices alone."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation
from shots import SHOTS, lead_room_walk, random_shot

from carrellata.solver.measures.measure import measure
from carrellata.solver.shake import LEVELS
from carrellata.solver.stage.stage import Stage
from carrellata.solver.take import operate

HALF_BREADTH = 0.076


def takes():
    for number, make in enumerate(SHOTS.values()):
        level = list(LEVELS.values())[number % len(LEVELS)]
        yield operate(replace(make(), shake=level))
    for number in range(6):
        shot = random_shot(np.random.default_rng(number), number)
        yield operate(replace(shot, shake=LEVELS["rough"]))


def on_screen(take, points):
    """Of world points (n, 3): u, v, NaN behind the lens, and camera axes, (n, 3)."""
    shot = take.shot
    seen = Rotation.from_quat(take.turn).inv().apply(points - take.place)
    width = shot.gate.squeeze * shot.gate.width_mm / (2 * shot.lens.focal_mm)
    height = shot.gate.height_mm / (2 * shot.lens.focal_mm)
    depth = np.where(seen[:, 2] < 0, -seen[:, 2], np.nan)
    return seen[:, 0] / depth / width, seen[:, 1] / depth / height + shot.gate.axis_v


def bodies(take, k):
    shot = take.shot
    floor = shot.subjects[k].at(take.times_s, 0.0)
    return floor, shot.subjects[k].at(take.times_s, 1.0)


def head(take, k):
    """Crown and chin u, v, and whether whole head and its eyes are in, (n,) each."""
    floor, eyes = bodies(take, k)
    crown_u, crown_v = on_screen(take, floor + (eyes - floor) / 0.935)
    chin_u, chin_v = on_screen(take, floor + (eyes - floor) * 0.866 / 0.935)
    right = Rotation.from_quat(take.turn).apply([HALF_BREADTH, 0.0, 0.0])
    sides = [*on_screen(take, eyes + right), *on_screen(take, eyes - right)]
    eyes_in = np.nanmax(np.abs([*sides]), axis=0) <= 1
    eyes_in &= np.isfinite(sides).all(axis=0)
    ends = np.abs([crown_u, crown_v, chin_u, chin_v])
    whole = eyes_in & (ends <= 1).all(axis=0)
    return crown_u, crown_v, chin_u, chin_v, whole, eyes_in


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore:All-NaN")
def test_the_head_is_where_the_final_picture_has_it():
    cut = shaken = 0
    for take in takes():
        shot = take.shot
        tops = np.array([f.top for f in shot.framings])
        starts = np.array([f.start_s for f in shot.framings])
        top = tops[np.searchsorted(starts, take.times_s + 1e-9, "right") - 1]
        for k in np.unique(take.subject):
            crown_u, crown_v, chin_u, chin_v, whole, eyes_in = head(take, k)
            now = (take.subject == k) & ~np.isnan(take.u)
            for column, expected in (
                (take.crown_u, crown_u),
                (take.crown_v, crown_v),
                (take.chin_u, chin_u),
                (take.chin_v, chin_v),
                (take.headroom, (1 - crown_v) / 2),
            ):
                here = now & np.isfinite(expected)
                np.testing.assert_allclose(column[here], expected[here], atol=1e-9)
            np.testing.assert_array_equal(take.head_in_frame[now], whole[now])
            held = np.where(top >= 1 - 1e-9, whole, eyes_in)
            np.testing.assert_array_equal(take.head_held[now], held[now])
            cut += np.count_nonzero(now & ~whole)
        shaken += float(np.abs(take.place - take.base).max()) > 1e-4
        unseen = np.isnan(take.u)
        assert np.isnan(take.crown_v[unseen]).all()
        assert not take.head_in_frame[unseen].any()
    assert cut > 20
    assert shaken > 3


@pytest.mark.slow
def test_measures_of_heads_are_means_and_percentiles_of_the_columns():
    for take in takes():
        found, cut = measure(take), ~take.handle
        seen = cut & ~np.isnan(take.u)
        if seen.any():
            assert found["head_in_frame"] == pytest.approx(take.head_held[seen].mean())
        tops = np.array([f.top for f in take.shot.framings])
        starts = np.array([f.start_s for f in take.shot.framings])
        uncut = tops[np.searchsorted(starts, take.times_s + 1e-9, "right") - 1] >= 1
        room = take.headroom[cut & uncut & np.isfinite(take.headroom)]
        for share in (10, 50, 90):
            expected = np.percentile(room, share) if len(room) else None
            assert found[f"headroom_p{share}"] == (
                None if expected is None else pytest.approx(expected)
            )


def meets(box, start, end):
    """Whether a segment comes into a box, by 20,001 points of it."""
    points = start + np.linspace(0, 1, 20001)[:, None] * (end - start)
    return bool(((points >= box[0]) & (points <= box[1])).all(axis=1).any())


def test_a_keep_out_hides_in_columns_and_measures():
    shot = lead_room_walk()
    plain = operate(shot)
    middle = len(plain.times_s) // 2
    eyes = shot.subjects[0].at(plain.times_s, 1.0)
    centre = (plain.place[middle] + eyes[middle]) / 2
    box = np.array([centre - 0.25, centre + 0.25])
    stage = Stage(
        keep_outs=box[None], names=("kiosk",), sight_forbidden=np.array([True])
    )
    take = operate(replace(shot, stage=stage))
    expected = [meets(box, *ends) for ends in zip(take.place, eyes, strict=True)]
    assert 3 < sum(expected) < len(expected) - 3
    assert take.hidden_by == ["kiosk" if each else None for each in expected]
    np.testing.assert_array_equal(take.base, plain.base)
    np.testing.assert_array_equal(take.pan, plain.pan)
    behind = np.array(expected)
    assert np.isnan(take.u[behind]).all()
    np.testing.assert_array_equal(take.u[~behind], plain.u[~behind])
    found, cut = measure(take), ~take.handle
    assert found["hidden"] == pytest.approx(behind[cut].mean())
    assert found["seen"] == pytest.approx(1 - behind[cut].mean())
    assert found["hidden_by"] == found["sight_forbidden"] == "kiosk"
    assert measure(plain)["hidden"] == 0.0
    assert measure(plain)["hidden_by"] is None


def test_a_person_between_the_lens_and_the_eyes_hides_them():
    shot = lead_room_walk()
    plain = operate(shot)
    one = shot.subjects[0]
    halfway = (plain.base[0] + one.at(plain.times_s[:1], 0.0)[0]) / 2
    floor = np.tile([halfway[0], 0.0, halfway[2]], (len(one.times_s), 1))
    guard = replace(
        one,
        name="guard",
        floor=floor,
        eyes=floor + np.array([0.0, 1.9, 0.0]),
        share=0.0,
        must_hold=False,
    )
    framings = tuple(replace(f, weights=(*f.weights, 0.0)) for f in shot.framings)
    take = operate(replace(shot, subjects=(one, guard), framings=framings))
    assert take.hidden_by[0] == "guard"
    assert None in take.hidden_by
    assert measure(take)["hidden_by"] == "guard" or not measure(take)["hidden"]
