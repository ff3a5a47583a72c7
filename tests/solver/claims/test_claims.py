"""Each claim on pictures whose answer is known, met and missed, by plain geometry."""

from math import atan, degrees, tan

import numpy as np
import pytest
from claimed import FIRST, looking, outcome
from shots import GATE

from carrellata.solver.action.body import EYES, LANDMARKS
from carrellata.solver.action.claim import VERBS
from carrellata.solver.claims.measured import MEASURES
from carrellata.solver.stage.stage import Stage

LENS = (0.0, 1.5, 8.0)  # looks along -Z; people stand about z = 0
N = 48
STEP = np.arange(N)[:, None]
TAN_U, TAN_V = GATE.half_tangents(35.0)
HALF_M = 8.0 * TAN_U  # half the width of the frame at z = 0: 2.8 m


def walking(start: float, step: float) -> np.ndarray:
    """A walk along X from `start` [m], `step` [m] a frame."""
    return np.array([start, 0.0, 0.0]) + STEP * np.array([step, 0.0, 0.0])


def test_every_verb_is_measured() -> None:
    assert set(MEASURES) == set(VERBS)


def test_heads_are_where_rotation_matrices_put_them() -> None:
    rng = np.random.default_rng(5)
    pan, tilt = rng.uniform(-25, 25, N), rng.uniform(-6, 6, N)
    lens = np.array(LENS) + rng.normal(size=(N, 3))
    floor = rng.uniform(-4, 4, (N, 3)) * [1, 0, 1]
    table = looking({"a": floor}, lens, pan_deg=pan, tilt_deg=tilt)
    shown = 0
    for k in range(N):
        p, t = np.radians(pan[k]), np.radians(tilt[k])
        turn_y = np.array(
            [[np.cos(p), 0, np.sin(p)], [0, 1, 0], [-np.sin(p), 0, np.cos(p)]]
        )
        turn_x = np.array(
            [[1, 0, 0], [0, np.cos(t), -np.sin(t)], [0, np.sin(t), np.cos(t)]]
        )
        inverse = (turn_y @ turn_x).T
        inside = True
        for share, side in ((1.0, 0), (LANDMARKS["chin"], 0), (EYES, 1), (EYES, -1)):
            at = inverse @ (floor[k] + [0, 1.75 * share, 0] - lens[k])
            at[0] += 0.076 * side
            u, v = at[0] / (-at[2] * TAN_U), at[1] / (-at[2] * TAN_V)
            inside &= at[2] < 0 and abs(u) <= 1 and abs(v) <= 1
            if share == 1.0 and at[2] < 0:
                assert table.crown_u[0, k] == pytest.approx(u, abs=1e-12)
                assert table.crown_v[0, k] == pytest.approx(v, abs=1e-12)
        assert table.head_in[0, k] == inside
        shown += inside
    assert 5 < shown < N - 5


def test_reveals_when_a_head_comes_in_and_stays_half_a_second() -> None:
    # The near side of the head passes the edge of the frame at frame k: solve for it.
    start, step = -HALF_M - 0.9, 0.1
    enters = int(np.ceil((0.9 + 0.076) / step))
    table = looking({"a": (0, 0, -6), "b": walking(start, step)}, LENS)
    found = outcome(table, "reveals", "b")
    assert found.held
    assert found.at == FIRST + enters
    assert found.number == pytest.approx((N - enters) / 24)
    assert outcome(table, "reveals", "b", by=FIRST + enters).held
    late = outcome(table, "reveals", "b", by=FIRST + enters - 1)
    assert not late.held
    assert late.why == "never_shown"
    brief = outcome(table, "reveals", "b", given={"hold_s": (N - enters + 1) / 24})
    assert not brief.held
    assert brief.why == "too_brief"
    at_start = outcome(table, "reveals", "b", given={"unseen_s": (enters + 1) / 24})
    assert not at_start.held
    assert outcome(table, "reveals", "b", given={"unseen_s": enters / 24}).held


def test_reveals_is_missed_by_who_is_there_from_the_start() -> None:
    found = outcome(looking({"a": (0, 0, 0)}, LENS), "reveals", "a")
    assert not found.held
    assert found.why == "shown_first"
    assert found.short == 1.0


def test_a_keep_out_reveals_too() -> None:
    box = [[-2.6, 0.0, 3.0], [-0.3, 2.5, 3.2]]
    stage = Stage(
        keep_outs=np.array([box]), names=("kiosk",), sight_forbidden=np.zeros(1, bool)
    )
    people = {"a": walking(-2.0, 0.06)}
    assert not outcome(looking(people, LENS), "reveals", "a").held
    found = outcome(looking(people, LENS, stage=stage), "reveals", "a")
    assert found.held
    # The sight line passes the box's inner corner where x / 8 = -0.3 / 5.
    assert found.at == FIRST + int(np.ceil((2.0 - 0.3 * 8 / 5.0) / 0.06))


def test_leaves_is_a_reveal_turned_round() -> None:
    out = int(np.ceil((HALF_M - 0.076 - 0.0) / 0.1))
    table = looking({"b": walking(0.0, 0.1), "a": (0, 0, 1)}, LENS)
    found = outcome(table, "leaves", "b")
    assert found.held
    assert found.at == FIRST + out
    assert outcome(table, "leaves", "b", by=FIRST + out).held
    assert not outcome(table, "leaves", "b", by=FIRST + out - 1).held
    assert not outcome(table, "leaves", "a").held
    assert outcome(table, "leaves", "a").why == "shown_last"


def test_together_and_alone_count_the_frames() -> None:
    table = looking({"a": (0, 0, 0), "b": walking(HALF_M - 0.076 - 1.95, 0.1)}, LENS)
    # b is in frame for k * 0.1 <= 1.95: frames 0 to 19, twenty of 48.
    both = outcome(table, "together", "a", "b")
    assert both.number == pytest.approx(20 / 48)
    assert both.missed == ((FIRST + 20, FIRST + 47),)
    assert both.short == pytest.approx(1 - 20 / 48 / 0.99)
    assert outcome(table, "together", "a", "b", given={"share": 0.41}).held
    assert outcome(table, "together", "a", "b", frames=(FIRST, FIRST + 19)).held
    one = outcome(table, "alone", "a")
    assert one.number == pytest.approx(28 / 48)
    assert outcome(table, "alone", "a", frames=(FIRST + 20, FIRST + 47)).held
    assert outcome(table, "alone", "b").number == 0.0


def test_who_stands_behind_somebody_is_not_in_the_picture() -> None:
    table = looking({"a": (0, 0, 0), "b": (0, 0, -2)}, LENS)
    assert outcome(table, "alone", "a").held
    assert not outcome(table, "together", "a", "b").held


def test_looms_from_under_the_eye_line_and_over_the_others() -> None:
    below = EYES * 1.75 - 8.0 * tan(np.radians(5.0))
    for off, held in ((-0.01, True), (0.01, False)):
        table = looking({"a": (0, 0, 0)}, (0.0, below + off, 8.0), tilt_deg=6)
        assert outcome(table, "looms", "a").held is held
    # Only b is shown: the lens has to be over b's eyes by 5 degrees.
    above = EYES * 1.75 + 8.0 * tan(np.radians(5.0))
    people = {"a": (-20, 0, 0), "b": (0, 0, 0)}
    for off, held in ((0.01, True), (-0.01, False)):
        table = looking(people, (0.0, above + off, 8.0), tilt_deg=-6)
        assert outcome(table, "looms", "a", over="b").held is held


def test_looms_over_another_needs_to_be_larger_and_higher() -> None:
    people = {"a": (-0.8, 0, 2.0), "b": (0.8, 0, 0.0)}
    table = looking(people, (0.0, 0.8, 8.0), tilt_deg=8)
    # Sizes go as the distances: 8 / 6.
    assert outcome(table, "looms", "a", over="b").held
    wants_more = {"ratio": 1.4}
    assert not outcome(table, "looms", "a", over="b", given=wants_more).held
    assert not outcome(table, "looms", "b", over="a").held


def test_small_is_a_share_of_the_frame_height() -> None:
    figure = 1.75 / (2 * TAN_V * 8.0)
    table = looking({"a": (0, 0, 0)}, LENS)
    assert table.figure[0, 0] == pytest.approx(figure)
    assert outcome(table, "small", "a", given={"figure": figure * 1.001}).held
    assert not outcome(table, "small", "a", given={"figure": figure * 0.999}).held
    away = looking({"a": (9, 0, 0)}, LENS)
    assert not outcome(away, "small", "a", given={"figure": 5.0}).held


def test_closes_in_is_what_the_camera_does_to_one_who_stands() -> None:
    eyes = EYES * 1.75
    for end, held in ((8.0 / 1.2 - 0.01, True), (8.0 / 1.2 + 0.01, False)):
        lens = np.array([0.0, eyes, 0.0]) + np.linspace(8.0, end, N)[:, None] * [
            0,
            0,
            1,
        ]
        found = outcome(looking({"a": (0, 0, 0)}, lens), "closes_in", "a")
        assert found.held is held
        assert found.number == pytest.approx(8.0 / end)
        back = outcome(looking({"a": (0, 0, 0)}, lens[::-1]), "draws_back", "a")
        assert back.held is held
        assert back.number == pytest.approx(8.0 / end)


def test_a_dolly_abreast_neither_closes_in_nor_draws_back() -> None:
    walk = walking(-3.0, 0.1)
    table = looking({"a": walk}, walk + np.array(LENS))
    for verb in ("closes_in", "draws_back"):
        found = outcome(table, verb, "a")
        assert not found.held
        assert found.number == pytest.approx(1.0)


def test_who_comes_nearer_is_not_closed_in_on() -> None:
    table = looking({"a": np.array([0, 0, 0.1]) * STEP}, LENS)
    assert not outcome(table, "closes_in", "a").held
    # A camera that follows and falls behind brings nobody nearer either.
    runs = np.array([0, 0, -0.3]) * STEP
    follows = np.array(LENS) + np.array([0, 0, -0.1]) * STEP
    found = outcome(looking({"a": runs}, follows), "closes_in", "a")
    assert found.number is not None
    assert found.number > 1.2
    assert not found.held
    assert found.why == "person"


@pytest.mark.parametrize(
    ("bearing_deg", "verb"),
    [(0, "toward"), (29, "toward"), (151, "away"), (180, "away"), (61, "crosses"),
     (90, "crosses"), (119, "crosses"), (-90, "crosses")],
)  # fmt: skip
def test_travel_is_told_by_its_angle_to_the_sight_line(
    bearing_deg: float, verb: str
) -> None:
    turn = np.radians(bearing_deg)
    way = np.array([np.sin(turn), 0.0, np.cos(turn)]) * 0.03  # 0.7 m/s
    far = (0.0, 1.5, 200.0)  # so that the sight line keeps its direction
    table = looking({"a": way * STEP}, far, focal_mm=100)
    for each in ("toward", "away", "crosses"):
        assert outcome(table, each, "a").held is (each == verb)


def test_travel_between_the_directions_is_none_of_them() -> None:
    for bearing_deg in (31, 59, 121, 149):
        turn = np.radians(bearing_deg)
        way = np.array([np.sin(turn), 0.0, np.cos(turn)]) * 0.03
        table = looking({"a": way * STEP}, (0.0, 1.5, 200.0), focal_mm=100)
        for verb in ("toward", "away", "crosses"):
            assert not outcome(table, verb, "a").held


def test_who_stands_travels_nowhere() -> None:
    found = outcome(looking({"a": (0, 0, 0)}, LENS), "toward", "a")
    assert not found.held
    assert found.number is None


def test_still_allows_a_pixel_of_pan() -> None:
    pixel_deg = degrees(atan(TAN_U / 1024))
    for share, held in ((0.99, True), (1.01, False)):
        pan = np.linspace(0, pixel_deg * share, N)
        found = outcome(looking({"a": (0, 0, 0)}, LENS, pan_deg=pan), "still")
        assert found.held is held
        assert found.number == pytest.approx(share, rel=1e-6)
        tilted = looking({"a": (0, 0, 0)}, LENS, tilt_deg=pan)
        assert outcome(tilted, "still").held is held
    slid = np.array(LENS) + STEP / N * np.array([0.01, 0, 0])
    assert not outcome(looking({"a": (0, 0, 0)}, slid), "still").held


def test_shows_a_point_for_a_second() -> None:
    at = (0.0, 1.0, 0.0)
    # It leaves the frame when the pan passes the half angle: at frame 30 of 48.
    pan = np.linspace(0, degrees(atan(TAN_U)) * 47 / 29.5, N)
    table = looking({"a": (0, 0, 0)}, LENS, pan_deg=pan)
    found = outcome(table, "shows", "clock", box=(at, at))
    assert found.held
    assert found.number == pytest.approx(30 / 24)
    assert found.at == FIRST
    longer = outcome(table, "shows", "clock", box=(at, at), given={"hold_s": 31 / 24})
    assert not longer.held


def test_shows_half_a_box_that_nothing_hides() -> None:
    table = looking({"a": (0, 0, 0)}, LENS)
    corner = (HALF_M, 0.5, 0.0)
    # Two of three columns of points are in frame, then one of three.
    assert outcome(
        table, "shows", "door", box=((HALF_M - 2, 0.5, 0.0), (HALF_M + 1.9, 1.5, 0.0))
    ).held
    missed = outcome(
        table, "shows", "door", box=(corner, (HALF_M + 2, 1.5, 0.0)),
    )  # fmt: skip
    assert not missed.held
    wall = Stage(
        keep_outs=np.array([[[-1.0, 0.0, 3.0], [1.0, 3.0, 3.2]]]),
        names=("wall",),
        sight_forbidden=np.zeros(1, bool),
    )
    hidden = looking({"a": (5, 0, 0)}, LENS, stage=wall)
    box = ((-0.5, 0.5, 0.0), (0.5, 1.5, 0.0))
    found = outcome(hidden, "shows", "door", box=box)
    assert not found.held
    assert found.why == "hidden"
    own = outcome(hidden, "shows", "wall", box=((-1.0, 0.0, 3.0), (1.0, 3.0, 3.2)))
    assert own.why != "hidden"


def test_a_claim_about_somebody_who_is_not_there_is_missed() -> None:
    found = outcome(looking({"a": (0, 0, 0)}, LENS), "together", "a", "b")
    assert not found.held
    assert found.why == "absent"
    assert found.short == 1.0
