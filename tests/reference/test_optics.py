"""Optics, formats, bodies and shake against figures from outside.

"From memory" marks a figure whose source was not at hand when it was entered;
"computed" one that follows from a formula and was worked out by hand.
"""

import math

import numpy as np
import pytest
from pxr import Gf, Usd, UsdGeom

from carrellata.solver.action.body import EYES, LANDMARKS, SIZES, framing_distance_m
from carrellata.solver.arrays import FloatArray
from carrellata.solver.frame.projection import project
from carrellata.solver.optics.camera import FILM_BACKS, Gate, rotation, used_gate
from carrellata.solver.optics.lens import depth_of_field_m, hyperfocal_m
from carrellata.solver.shake import LEVELS, ShakeLevel, shake_layer

INCH_MM = 25.4

# Horizontal and vertical angle of view in degrees on the uncropped back: computed,
# 2 atan(d / 2f), at the precision of a printed table.
ANGLES_OF_VIEW = {
    "super35-4perf": {
        18: (69.32, 54.80),
        25: (52.93, 40.93),
        35: (39.15, 29.85),
        50: (27.95, 21.14),
        75: (18.84, 14.18),
        100: (14.19, 10.66),
    },
    "academy": {18: (62.74, 47.92), 35: (34.82, 25.75), 100: (12.53, 9.15)},
    "full-frame": {
        18: (90.00, 67.38),
        25: (71.51, 51.28),
        35: (54.43, 37.85),
        50: (39.60, 26.99),  # the well-known 39.6 x 27.0 of a still camera's normal
        100: (20.41, 13.69),
    },
    "super16": {18: (38.35, 23.26), 50: (14.27, 8.48)},
    "65mm-5perf": {18: (111.10, 65.17), 50: (55.38, 25.92)},
}


@pytest.mark.parametrize(
    ("back", "focal_mm", "angles"),
    [(b, f, a) for b, row in ANGLES_OF_VIEW.items() for f, a in row.items()],
)
def test_angle_of_view_table(back, focal_mm, angles):
    gate = Gate(*FILM_BACKS[back])
    got = [math.degrees(angle) for angle in gate.angles_of_view(focal_mm)]
    assert got == pytest.approx(angles, abs=0.0051)


@pytest.mark.parametrize(
    ("back", "inches"),
    [
        # 35 mm figures of SMPTE ST 59 as printed in encyclopaedias of 35 mm film.
        ("super35-4perf", (0.980, 0.735)),
        # From memory: the same standard's Academy and anamorphic apertures.
        ("academy", (0.864, 0.630)),
        ("anamorphic-4perf", (0.864, 0.732)),
        # From memory: SMPTE ST 201, ST 7, ST 215, and the 8-perf camera aperture.
        ("super16", (0.493, 0.292)),
        ("16mm", (0.404, 0.295)),
        ("65mm-5perf", (2.066, 0.906)),
        ("35mm-8perf", (1.485, 0.981)),
    ],
)
def test_film_backs_are_their_standards_inches(back, inches):
    # 0.01 mm is the rounding of the millimetre figures; no aperture is held closer.
    expected = [INCH_MM * value for value in inches]
    assert list(FILM_BACKS[back]) == pytest.approx(expected, abs=0.011)


def test_aspect_ratios_of_the_film_backs():
    ratios = {name: width / height for name, (width, height) in FILM_BACKS.items()}
    assert ratios["super35-4perf"] == pytest.approx(4 / 3, abs=0.002)
    assert ratios["academy"] == pytest.approx(1.37, abs=0.005)
    assert ratios["full-frame"] == 1.5
    # "65 mm 5-perf camera aperture 2.29:1", a film maker's student handbook.
    assert ratios["65mm-5perf"] == pytest.approx(2.29, abs=0.01)


def test_frames_fit_the_pulldown():
    # 0.1870 in a perforation (long pitch), 4 perforations in 0.748 in: SMPTE ST 139
    # (number from memory); 16 frames a foot.
    pitch_mm = 0.187 * INCH_MM
    assert FILM_BACKS["super35-4perf"][1] < 4 * pitch_mm
    assert 2.9 * pitch_mm < FILM_BACKS["super35-3perf"][1] < 3 * pitch_mm
    assert FILM_BACKS["35mm-8perf"][0] < 8 * pitch_mm


def test_scope_extraction_from_the_full_aperture_is_22_30_by_18_66():
    # Computed: 2.39 x 18.66 / 2 = 22.2987 mm wide on the film, the full height.
    gate = used_gate(24.89, 18.66, aspect=2.39, squeeze=2.0)
    assert gate.width_mm == pytest.approx(22.30, abs=0.005)
    assert gate.height_mm == 18.66
    assert gate.aspect == pytest.approx(2.39)


def test_flat_185_extraction_of_super_35_is_24_89_by_13_45():
    gate = used_gate(24.89, 18.66, aspect=1.85)  # computed: 24.89 / 1.85 = 13.454
    assert (gate.width_mm, gate.height_mm) == pytest.approx((24.89, 13.454), abs=5e-4)


def test_a_2x_anamorphic_sees_as_wide_as_a_lens_of_half_its_length():
    scope = Gate(21.95, 18.60, squeeze=2.0)
    flat = Gate(21.95, 18.60)
    wide, high = scope.angles_of_view(50.0)
    assert wide == pytest.approx(flat.angles_of_view(25.0)[0])
    assert high == pytest.approx(flat.angles_of_view(50.0)[1])
    assert math.degrees(wide) == pytest.approx(47.40, abs=0.005)  # computed: d = 43.9


@pytest.mark.parametrize(
    ("focal_mm", "stop", "coc_mm", "focus_m", "hyperfocal", "near_m", "far_m"),
    [
        # Computed from the exact formulas.
        (50, 2.8, 0.025, 3.0, 35.764, 2.7711, 3.2701),
        (25, 5.6, 0.025, 3.0, 4.489, 1.8003, 8.9928),
        (100, 2.8, 0.025, 5.0, 142.957, 4.8342, 5.1776),
        (35, 4.0, 0.025, 2.5, 12.285, 2.0812, 3.1298),
    ],
)
def test_depth_of_field_examples(
    focal_mm, stop, coc_mm, focus_m, hyperfocal, near_m, far_m
):
    near, far = depth_of_field_m(focal_mm, stop, coc_mm, np.array([focus_m]))
    assert hyperfocal_m(focal_mm, stop, coc_mm) == pytest.approx(hyperfocal, abs=6e-4)
    assert near[0] == pytest.approx(near_m, abs=6e-5)
    assert far[0] == pytest.approx(far_m, abs=6e-5)


def test_depth_of_field_of_a_published_example_in_feet():
    # "50 mm at f/4, 10 ft, c = 0.03: near 8 ft 9 in, far 11 ft 8 in", a worked
    # example from a photographic article, rounded to whole inches.
    near, far = depth_of_field_m(50.0, 4.0, 0.03, np.array([10 * 12 * INCH_MM / 1e3]))
    assert near[0] == pytest.approx((8 * 12 + 9) * INCH_MM / 1e3, abs=0.0127)
    assert far[0] == pytest.approx((11 * 12 + 8) * INCH_MM / 1e3, abs=0.0127)


def test_near_and_far_have_the_focus_as_harmonic_mean_far_from_the_lens():
    # From the textbook approximation of s much longer than f (Ray 2002, from memory).
    near, far = depth_of_field_m(50.0, 2.8, 0.025, np.array([5.0]))
    assert 2.0 / (1.0 / near[0] + 1.0 / far[0]) == pytest.approx(5.0, rel=2e-3)


def test_framing_distance_of_a_mean_man_in_185():
    # Computed: a body of 1.756 m that fills 90 % of a 13.454 mm high frame on 50 mm
    # stands 50 x 1.756 / (0.9 x 13.454) = 7.25 m away.
    gate = used_gate(24.89, 18.66, aspect=1.85)
    _, ty = gate.half_tangents(50.0)
    assert framing_distance_m(0.9, 1.756, 0.0, ty) == pytest.approx(7.25, abs=0.005)
    assert framing_distance_m("full", 1.756, 0.05, ty) == pytest.approx(7.25, abs=0.005)


@pytest.mark.parametrize(
    ("landmark", "drillis_contini", "ansur_men", "ansur_women"),
    [
        # Drillis & Contini 1966, Tech. Rep. 1166.03, as drawn in Winter 2009 fig. 4.1;
        # ANSUR II (Gordon et al. 2014, NATICK/TR-15/007), means of 4082 men and 1986
        # women over mean stature, computed from the public measurements.
        ("eyes", 0.936, 0.9352, 0.9331),
        ("chin", 0.870, 0.9352 - 0.0699, 0.9331 - 0.0695),
        ("shoulders", 0.818, 0.8203, 0.8198),
        ("chest", None, 0.7351, 0.7194),
        ("waist", None, 0.6014, 0.6017),
        # The two disagree by 0.015 at the hip, where they mark different points.
        ("hips", None, 0.5128, 0.5190),
        ("knee", 0.285, 0.2780, 0.2756),
    ],
)
def test_landmarks_agree_with_two_surveys(
    landmark, drillis_contini, ansur_men, ansur_women
):
    fraction = LANDMARKS[landmark]
    assert fraction == pytest.approx(0.5 * (ansur_men + ansur_women), abs=0.0025)
    if drillis_contini is not None:
        assert fraction == pytest.approx(drillis_contini, abs=0.009)


def test_sizes_cut_where_their_names_say():
    # Cowboy at mid-thigh, between knee (0.278) and crotch (0.4815) of ANSUR II men;
    # medium at the waist, "generally framed down to the waist": common practice.
    assert SIZES["cowboy"].bottom == pytest.approx((0.278 + 0.4815) / 2, abs=0.005)
    assert SIZES["medium"].bottom == pytest.approx(LANDMARKS["waist"], abs=0.005)
    assert SIZES["chest"].bottom == pytest.approx(LANDMARKS["chest"], abs=0.005)
    assert SIZES["eyes"].bottom < EYES < SIZES["eyes"].top
    # These two would cut the kneecap and the neck: they go 4 % of stature lower, and
    # stay nearer to their name than to the next size.
    assert LANDMARKS["knee"] - 0.08 < SIZES["knee"].bottom < LANDMARKS["knee"] - 0.04
    assert SIZES["chest"].bottom + 0.04 < SIZES["close"].bottom
    assert SIZES["close"].bottom < LANDMARKS["chin"] - 0.04


def _scene_transform(position: FloatArray, pan: float, tilt: float, roll: float):
    """OpenUSD's row-vector matrix of a pose, composed by its own rotations."""
    turns = [([0, 0, 1], roll), ([1, 0, 0], tilt), ([0, 1, 0], pan)]
    matrix = Gf.Matrix4d(1.0)
    for axis, angle in turns:
        turn = Gf.Rotation(Gf.Vec3d(*axis), math.degrees(angle))
        matrix = matrix * Gf.Matrix4d().SetRotate(turn)
    return matrix * Gf.Matrix4d().SetTranslate(Gf.Vec3d(*position))


def test_projection_agrees_with_the_frustum_of_openusd():
    # Oracle: the view and projection matrices of Gf.Frustum, read from a camera prim.
    generator = np.random.default_rng(11)
    stage = Usd.Stage.CreateInMemory()
    checked = 0
    for index in range(40):
        gate = used_gate(24.89, 18.66, aspect=(1.85, 2.39)[index % 2])
        focal_mm = float(generator.choice([18, 25, 35, 50, 75, 100]))
        position = generator.normal(scale=5.0, size=3)
        pan, tilt, roll = generator.uniform(-1.4, 1.4, 3)
        camera = UsdGeom.Camera.Define(stage, f"/camera{index}")
        camera.CreateFocalLengthAttr(focal_mm)
        camera.CreateHorizontalApertureAttr(gate.width_mm)
        camera.CreateVerticalApertureAttr(gate.height_mm)
        transform = _scene_transform(position, pan, tilt, roll)
        camera.AddTransformOp().Set(transform)
        frustum = camera.GetCamera(Usd.TimeCode.Default()).frustum
        to_clip = frustum.ComputeViewMatrix() * frustum.ComputeProjectionMatrix()
        points = generator.normal(scale=20.0, size=(60, 3))
        tx, ty = gate.half_tangents(focal_mm)
        u, v, depth = project(points, position, pan, tilt, roll, tx, ty)
        for k in np.flatnonzero(depth > 0.1):
            u_usd, v_usd, _ = to_clip.Transform(Gf.Vec3d(*points[k]))
            # Apertures and focal length are single precision in OpenUSD.
            assert u[k] == pytest.approx(u_usd, rel=1e-5, abs=1e-6)
            assert v[k] == pytest.approx(v_usd, rel=1e-5, abs=1e-6)
            checked += 1
        ours = rotation(pan, tilt, roll)[0]
        theirs = np.array(transform.ExtractRotationMatrix()).T
        assert np.allclose(ours, theirs, atol=1e-12)
    assert checked > 800


def test_field_of_view_agrees_with_openusd():
    gate = used_gate(24.89, 18.66, aspect=2.39)
    camera = Gf.Camera(
        horizontalAperture=gate.width_mm,
        verticalAperture=gate.height_mm,
        focalLength=32.0,
    )
    across, up = gate.angles_of_view(32.0)
    horizontal = camera.GetFieldOfView(Gf.Camera.FOVHorizontal)
    vertical = camera.GetFieldOfView(Gf.Camera.FOVVertical)
    assert math.degrees(across) == pytest.approx(horizontal, rel=1e-6)
    assert math.degrees(up) == pytest.approx(vertical, rel=1e-6)


def test_a_tenth_of_a_degree_on_50_mm_moves_the_picture_87_micrometres():
    # Computed: f tan(phi) = 0.0873 mm, which is 0.351 % of 24.89 mm.
    phi = math.radians(0.1)
    gate = used_gate(24.89, 18.66, aspect=1.85)
    tx, ty = gate.half_tangents(50.0)
    ahead = np.array([[0.0, 0.0, -7.0]])
    u, _, _ = project(ahead, np.zeros(3), phi, 0.0, 0.0, tx, ty)
    assert u[0] * gate.width_mm / 2.0 == pytest.approx(0.0873, abs=5e-5)
    assert 100.0 * u[0] / 2.0 == pytest.approx(0.351, abs=5e-4)
    level = ShakeLevel("own", percent=100.0 * u[0] / 2.0)
    assert math.degrees(level.angle_rad(50.0, gate)) == pytest.approx(0.1, rel=1e-5)


def test_shake_stays_within_what_bodies_do():
    # Held still cameras move near 4 Hz, and near 2 Hz while the shutter is pressed (Jpn
    # J Ergonomics 31(6):399, 1995); the
    # postural tremor of a hand peaks at 6-12 Hz (Lakie et al. 2015, J Physiol
    # 593:4411).
    gate = used_gate(24.89, 18.66, aspect=2.39)
    times_s = np.arange(0.0, 200.0, 1.0 / 48.0)
    held = shake_layer(
        LEVELS["shoulder"], times_s=times_s, seed=3, focal_mm=35.0, gate=gate
    )
    taper = np.hanning(len(times_s))  # else leakage would pass for power
    power = np.abs(np.fft.rfft(taper * held.pan)) ** 2
    frequency = np.fft.rfftfreq(len(times_s), 1.0 / 48.0)
    assert 1.0 < np.sum(frequency * power) / np.sum(power) < 4.0
    assert power[frequency > 6.0].sum() < 1e-9 * power.sum()
    # Standing sway is 3-6 mm r.m.s. (Prieto et al. 1996, from memory).
    assert 0.5e-3 < np.std(held.x) < 6e-3


def accelerations_g(level: ShakeLevel) -> FloatArray:
    """Shift of a level along one axis, differentiated twice, in g."""
    gate = used_gate(24.89, 18.66, aspect=2.39)
    times_s = np.arange(0.0, 120.0, 1.0 / 240.0)
    layer = shake_layer(level, times_s=times_s, seed=3, focal_mm=35.0, gate=gate)
    return np.gradient(np.gradient(layer.x, times_s), times_s)[4:-4] / 9.81


def test_a_modal_tremor_accelerates_by_a_hundredth_of_g():
    # Postural tremor of a hand: modal 0.01 g at 7 Hz, at most 0.035 g (97 people, Arch
    # Neurol 39(6):358, 1982). Computed: an amplitude of 0.0507 mm.
    tremor = ShakeLevel(
        "tremor", translation_mm=0.0507 / math.sqrt(2), band_hz=(6.9, 7.1)
    )
    found = math.sqrt(2) * accelerations_g(tremor).std()
    assert found == pytest.approx(0.01, rel=0.03)
    # Sticks tremble less than a bare hand; who carries a camera sways more.
    assert np.abs(accelerations_g(LEVELS["settled"])).max() < 0.01
    assert np.abs(accelerations_g(LEVELS["shoulder"])).max() > 0.035
