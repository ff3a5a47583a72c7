"""Projection, aiming and rotation: oracles, round trips and edges."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from carrellata.solver.arrays import frozen
from carrellata.solver.crew.head_target import Sight, aim_ray, asked_ray
from carrellata.solver.optics.camera import (
    FILM_BACKS,
    aim,
    project,
    quaternion,
    rotation,
    used_gate,
)

MANY = 20_000


def _random_angles(seed, count=MANY):
    generator = np.random.default_rng(seed)
    pan = generator.uniform(-np.pi, np.pi, count)
    tilt = generator.uniform(-1.5, 1.5, count)
    roll = generator.uniform(-np.pi, np.pi, count)
    return pan, tilt, roll


def _oracle(pan, tilt, roll):
    return Rotation.from_euler("YXZ", np.stack([pan, tilt, roll], axis=-1))


def test_frozen_copy_is_read_only_and_detached():
    source = np.arange(6.0).reshape(2, 3)
    copy = frozen(source.T)
    source[0, 1] = -7.0
    assert copy[1, 0] == 1.0
    assert copy.flags.c_contiguous
    with pytest.raises(ValueError, match="read-only"):
        copy[0, 0] = 1.0


def test_rotation_agrees_with_euler_angles_of_scipy():
    angles = _random_angles(1)
    error = rotation(*angles) - _oracle(*angles).as_matrix()
    assert np.abs(error).max() < 1e-14


def test_quaternion_is_the_same_turn_as_scipys():
    angles = _random_angles(2)
    ours, theirs = quaternion(*angles), _oracle(*angles).as_quat()
    assert np.allclose(np.abs(np.sum(ours * theirs, axis=1)), 1.0, atol=1e-14)


def test_positive_pan_looks_left_and_positive_tilt_looks_up():
    left = rotation(0.3, 0.0, 0.0)[0] @ [0.0, 0.0, -1.0]
    up = rotation(0.0, 0.3, 0.0)[0] @ [0.0, 0.0, -1.0]
    assert np.allclose(left, [-np.sin(0.3), 0.0, -np.cos(0.3)])
    assert np.allclose(up, [0.0, np.sin(0.3), -np.cos(0.3)])


def test_quaternion_keeps_its_sign_through_two_turns_of_pan():
    pan = np.linspace(-0.5, 4.0 * np.pi, 300)
    wrapped = (pan + np.pi) % (2.0 * np.pi) - np.pi
    for angles in (pan, wrapped):
        turns = quaternion(angles, 0.2, -0.1)
        assert np.all(np.sum(turns[1:] * turns[:-1], axis=1) > 0.99)
        assert turns[0, 3] >= 0.0


def test_project_places_points_where_the_rotation_matrix_does():
    generator = np.random.default_rng(3)
    pan, tilt, roll = _random_angles(3)
    points = generator.normal(scale=10.0, size=(MANY, 3))
    position = generator.normal(scale=3.0, size=(MANY, 3))
    local = np.einsum(
        "nji,nj->ni", _oracle(pan, tilt, roll).as_matrix(), points - position
    )
    u, v, depth = project(points, position, pan, tilt, roll, 0.4, 0.2)
    ahead = local[:, 2] < -0.01
    assert 0.3 * MANY < ahead.sum() < 0.7 * MANY
    assert np.allclose(depth, -local[:, 2], atol=1e-12)
    assert np.allclose(u[ahead], (local[:, 0] / -local[:, 2] / 0.4)[ahead], rtol=1e-10)
    assert np.allclose(v[ahead], (local[:, 1] / -local[:, 2] / 0.2)[ahead], rtol=1e-10)


def test_a_point_behind_the_lens_is_never_in_frame():
    points = np.array([[0.1, -0.2, 5.0], [0.3, 0.2, 0.0]])
    u, v, depth = project(points, np.zeros(3), 0.0, 0.0, 0.0, 0.4, 0.2)
    assert np.all(depth <= 0.0)
    assert np.array_equal(u, [np.inf, np.inf])
    assert np.array_equal(v, [-np.inf, np.inf])


def test_aim_then_project_returns_the_asked_place_with_roll():
    generator = np.random.default_rng(4)
    direction = generator.normal(size=(MANY, 3))
    u, v = generator.uniform(-1.0, 1.0, (2, MANY))
    roll = generator.uniform(-0.6, 0.6, MANY)
    tx = generator.uniform(0.05, 1.2, MANY)
    ty = tx / generator.uniform(1.2, 2.4, MANY)
    pan, tilt, exact = aim(direction, u, v, roll, tx, ty)
    assert exact.mean() > 0.9
    got_u, got_v, depth = project(direction, np.zeros(3), pan, tilt, roll, tx, ty)
    assert np.all(depth[exact] > 0.0)
    assert np.abs(got_u - u)[exact].max() < 1e-11
    assert np.abs(got_v - v)[exact].max() < 1e-11
    assert np.all(np.abs(pan) <= np.pi)


def test_the_operator_aims_as_the_camera_does():
    generator = np.random.default_rng(6)
    direction = generator.normal(size=(500, 3))
    u, v = generator.uniform(-1.0, 1.0, (2, 500))
    roll = generator.uniform(-0.6, 0.6, 500)
    pan, tilt, exact = aim(direction, u, v, roll, 0.5, 0.25)
    assert exact.sum() > 400
    for k in np.flatnonzero(exact):
        ray = asked_ray(u[k], v[k], Sight(roll[k], 0.5, 0.25))
        found = aim_ray(*direction[k], ray)
        apart = np.angle(np.exp(1j * (np.array(found) - [pan[k], tilt[k]])))
        assert np.abs(apart).max() < 1e-12


def test_aim_says_where_no_tilt_exists_and_stays_finite():
    # Straight up cannot stand beside the centre: every tilt turns about the side axis.
    direction = np.array([[0.0, 2.0, 0.0], [0.0, 2.0, 0.0], [0.01, 1.0, 0.0]])
    u = np.array([0.5, 0.0, 0.9])
    pan, tilt, exact = aim(direction, u, 0.0, 0.0, 0.4, 0.2)
    assert exact.tolist() == [False, True, False]
    assert np.all(np.isfinite(pan))
    assert np.allclose(tilt, np.pi / 2.0)


def test_no_tilt_exists_exactly_where_a_search_finds_none():
    generator = np.random.default_rng(5)
    direction = generator.normal(size=(400, 3)) * [0.2, 1.0, 0.2]
    direction /= np.linalg.norm(direction, axis=1)[:, None]
    u, v, roll = 0.9, -0.4, 0.3
    _, _, exact = aim(direction, u, v, roll, 0.5, 0.3)
    ray = np.array([u * 0.5, v * 0.3, -1.0])
    tilts = np.linspace(-np.pi, np.pi, 7201)
    heights = (rotation(0.0, tilts, roll) @ (ray / np.linalg.norm(ray)))[:, 1]
    reachable = np.abs(direction[:, 1]) <= heights.max()
    clear = np.abs(np.abs(direction[:, 1]) - heights.max()) > 1e-6
    assert 50 < exact.sum() < 350
    assert np.array_equal(exact[clear], reachable[clear])


def test_centred_aim_without_roll_is_the_plain_spherical_angles():
    direction = np.array([[3.0, 1.0, -4.0], [-2.0, -0.5, 1.0]])
    pan, tilt, exact = aim(direction, 0.0, 0.0, 0.0, 0.4, 0.2)
    assert exact.all()
    assert np.allclose(pan, np.arctan2(-direction[:, 0], -direction[:, 2]))
    flat = np.hypot(direction[:, 0], direction[:, 2])
    assert np.allclose(tilt, np.arctan2(direction[:, 1], flat))


def test_aim_turns_with_the_world():
    generator = np.random.default_rng(6)
    direction = generator.normal(size=(500, 3)) * [1.0, 0.3, 1.0]
    turned = direction @ rotation(0.7, 0.0, 0.0)[0].T
    pan, tilt, exact = aim(direction, 0.4, 0.2, 0.1, 0.4, 0.2)
    other_pan, other_tilt, _ = aim(turned, 0.4, 0.2, 0.1, 0.4, 0.2)
    shift = (other_pan - pan - 0.7 + np.pi) % (2.0 * np.pi) - np.pi
    assert np.abs(shift[exact]).max() < 1e-12
    assert np.allclose(tilt, other_tilt, atol=1e-12)


@pytest.mark.parametrize("aspect", [1.33, 1.85, 2.39, 3.0])
@pytest.mark.parametrize("squeeze", [1.0, 1.5, 2.0])
def test_used_gate_has_the_aspect_and_touches_the_back(aspect, squeeze):
    for width_mm, height_mm in FILM_BACKS.values():
        gate = used_gate(width_mm, height_mm, aspect=aspect, squeeze=squeeze)
        tx, ty = gate.half_tangents(40.0)
        assert tx / ty == pytest.approx(aspect)
        assert gate.width_mm <= width_mm
        assert gate.height_mm <= height_mm
        assert gate.width_mm == width_mm or gate.height_mm == height_mm


def test_overscan_widens_the_render_and_not_the_framing():
    plain = used_gate(24.89, 18.66, aspect=1.85)
    wide = used_gate(24.89, 18.66, aspect=1.85, overscan=1.1)
    assert wide.half_tangents(35.0) == plain.half_tangents(35.0)
    tx, ty = plain.half_tangents(35.0)
    assert wide.overscanned(35.0) == pytest.approx((1.1 * tx, 1.1 * ty))


def test_common_top_keeps_the_top_edge_of_the_back():
    gate = used_gate(24.89, 18.66, aspect=2.39, extraction="common_top")
    _, ty = gate.half_tangents(50.0)
    top_of_back = (18.66 / 2.0) / 50.0 / ty  # v counted from the lens axis
    assert top_of_back + gate.axis_v == pytest.approx(1.0)
    assert used_gate(24.89, 18.66, aspect=2.39).axis_v == 0.0
