"""The choice across cuts against every other there is, and what it may not do."""

from dataclasses import replace

import numpy as np
import pytest
from cut_reference import brute_force, path_cost
from ends import an_end, around, mirrored, moved
from open_shots import long_sequence, random_sequence, walker

from carrellata.solver.cuts.cost import CutCosts
from carrellata.solver.cuts.end import EndView
from carrellata.solver.cuts.open_shot import STEADY, OpenShot, State, keeping_gains
from carrellata.solver.cuts.sequence import choose_sequence
from carrellata.solver.errors import SolverError

VARIED = CutCosts(
    lens_run=1.5,
    lens_use=((35.0, 0.25),),
    size_use=(("full", 0.0), ("medium", 0.75)),
    other_sizes=1.5,
)


@pytest.mark.parametrize("seed", range(8))
def test_choice_costs_what_the_best_of_all_choices_costs(seed: int) -> None:
    rng = np.random.default_rng(seed)
    costs = VARIED if seed % 2 else CutCosts()
    for _ in range(30):
        shots, letters = random_sequence(rng)
        gains = [keeping_gains(shot, 0.15).tolist() for shot in shots]
        every = brute_force(shots, costs, letters, gains)
        choice = choose_sequence(shots, shared=letters, costs=costs)
        assert every[choice.chosen] == min(every.values())
        plain = path_cost(shots, choice.chosen, costs, letters)
        assert round(choice.total * 1e6) == plain
        for k, shot in enumerate(shots):
            for i in range(len(shot.states)):
                forced = [cost for picks, cost in every.items() if picks[k] == i]
                if not forced:
                    assert choice.forced[k][i] == float("inf")
                    continue
                more = min(forced) - min(every.values())
                assert round(choice.forced[k][i] * 1e6) == more


def test_among_equals_the_least_order_wins_from_the_first_shot_on() -> None:
    rng = np.random.default_rng(3)
    for _ in range(40):
        shots, letters = random_sequence(rng)
        level = [
            replace(
                shot,
                states=tuple(
                    replace(s, score=1.0, order=i) for i, s in enumerate(shot.states)
                ),
                kept=None,
            )
            for shot in shots
        ]
        free = CutCosts(
            crosses_line=0, near_axis=0, screen_direction=0, thirty_degrees=0,
            same_picture=0, size_jump=0, eye_jump=0, matched_reverse=0,
        )  # fmt: skip
        every = brute_force(level, free, letters, [[0] * 9] * len(level))
        choice = choose_sequence(level, shared=letters, costs=free)
        least = min(every.values())
        by_scene = [
            tuple(
                p for name in dict.fromkeys(s.scene for s in level)
                for p, s in zip(picks, level, strict=True) if s.scene == name
            )
            for picks, cost in every.items()
            if cost == least
        ]  # fmt: skip
        chosen = tuple(
            p for name in dict.fromkeys(s.scene for s in level)
            for p, s in zip(choice.chosen, level, strict=True) if s.scene == name
        )  # fmt: skip
        assert chosen == min(by_scene)


def test_cut_costs_and_scores_add_up_to_the_total() -> None:
    rng = np.random.default_rng(5)
    for _ in range(40):
        shots, letters = random_sequence(rng)
        choice = choose_sequence(shots, shared=letters, costs=VARIED)
        picked = [s.states[k] for s, k in zip(shots, choice.chosen, strict=True)]
        own = sum(s.score + 0.25 * (s.first.focal_mm == 35.0) for s in picked)
        sizes = {"": 0.0, "full": 0.0, "medium": 0.75}
        own += sum(sizes.get(s.size, 1.5) for s in picked)
        cuts = sum(cost for parts in choice.cuts for cost in parts.values())
        assert choice.total == pytest.approx(own + cuts, abs=1e-5)


def test_a_fixed_shot_keeps_its_only_setup_and_has_no_runner_up() -> None:
    rng = np.random.default_rng(8)
    for _ in range(30):
        shots, _ = random_sequence(rng)
        shots[1] = replace(shots[1], states=shots[1].states[:1], kept=None)
        choice = choose_sequence(shots)
        assert choice.chosen[1] == 0
        assert choice.runner_up[1] is None
        assert choice.runner_up_costs(1) is None


def test_a_runner_up_differs_in_kind_and_not_by_a_step_aside() -> None:
    shot = walker([-90.0, -91.0, -60.0], [0.0, 0.1, 2.0], name="010")
    kinds = ("sticks 35", "sticks 35", "track 35")
    states = tuple(
        replace(state, kind=kind)
        for state, kind in zip(shot.states, kinds, strict=True)
    )
    choice = choose_sequence([replace(shot, states=states)])
    assert (choice.chosen, choice.runner_up) == ((0,), (2,))
    assert choice.runner_up_costs(0) == pytest.approx(2.0)
    alone = choose_sequence([replace(shot, states=states[:2])])
    assert alone.runner_up == (None,)


def test_the_second_shot_stays_on_the_side_of_the_first_against_its_own_taste() -> None:
    # From below the page a walker to the right runs right on the screen.
    first = walker([-90.0], [0.0], name="010")
    second = walker([45.0, -45.0], [0.0, 3.0], name="020")
    choice = choose_sequence([first, second])
    assert choice.chosen == (0, 1)
    assert choice.cuts == ({}, {})
    assert choice.total == pytest.approx(3.0)
    assert choice.runner_up_costs(1) == pytest.approx(8.0 - 3.0)


def test_time_that_elapsed_and_another_scene_make_the_side_free() -> None:
    first = walker([-90.0], [0.0], name="010")
    second = walker([45.0, -45.0], [0.0, 3.0], name="020")
    later = choose_sequence([first, replace(second, elapsed=True)])
    elsewhere = choose_sequence([first, replace(second, scene="street")])
    assert later.chosen == elsewhere.chosen == (0, 0)


def test_a_side_is_remembered_across_a_shot_of_someone_else() -> None:
    first = walker([-90.0], [0.0], name="010")
    other = an_end(around(80.0), subject="b", faces_deg=0.0)
    between = OpenShot(
        name="020", scene="hall", states=(State(score=0.0, first=other, last=other),)
    )
    third = walker([45.0, -45.0], [0.0, 3.0], name="030")
    assert choose_sequence([first, between, third]).chosen == (0, 0, 1)


def test_a_side_is_remembered_across_another_scene() -> None:
    first = walker([-90.0], [0.0], name="010")
    other = an_end(around(80.0), subject="b", faces_deg=0.0)
    away = OpenShot(
        name="020", scene="street", states=(State(score=0.0, first=other, last=other),)
    )
    third = walker([45.0, -45.0], [0.0, 3.0], name="030")
    assert choose_sequence([first, away, third]).chosen == (0, 0, 1)


def test_a_shot_along_the_line_lets_the_next_one_cross() -> None:
    # Dead ahead of the walker is neutral: each of two changes of side is forgiven.
    first = walker([-90.0], [0.0], name="010")
    ahead = walker([-2.0], [0.0], name="020")
    third = walker([90.0], [0.0], name="030")
    total = choose_sequence([first, ahead, third]).total
    assert total == pytest.approx(1.0)
    assert choose_sequence([first, third]).total == pytest.approx(8.0)


def test_matched_reverses_are_preferred_to_slightly_better_odd_ones() -> None:
    a, b = (0.0, 0.0), (2.0, 0.0)
    one = an_end((3.0, -2.0), at=a, subject="a", partner=("b", b), focal_mm=75.0)
    answers = [
        an_end((-1.0, -2.0), at=b, subject="b", partner=("a", a), focal_mm=focal)
        for focal in (75.0, 50.0)
    ]
    shots = [
        OpenShot(
            name="010", scene="hall", states=(State(score=0.0, first=one, last=one),)
        ),
        OpenShot(
            name="020",
            scene="hall",
            states=tuple(
                State(score=score, first=end, last=end)
                for score, end in zip((0.5, 0.0), answers, strict=True)
            ),
        ),
    ]
    choice = choose_sequence(shots)
    assert choice.chosen == (0, 0)
    assert choice.cuts[1] == {"matched_reverse": -1.0}


def test_shots_with_one_letter_take_one_setup() -> None:
    shots = [
        walker([-90.0, -60.0], scores, name=name)
        for name, scores in (("010", [0.0, 1.0]), ("020", [0.0, 0.0]), ("030", [3, 0]))
    ]
    apart = choose_sequence(shots, costs=CutCosts(thirty_degrees=0, same_picture=0))
    assert (apart.chosen[0], apart.chosen[2]) == (0, 1)
    shared = choose_sequence(
        shots,
        shared={"010": "A", "030": "A"},
        costs=CutCosts(thirty_degrees=0, same_picture=0),
    )
    assert (shared.chosen[0], shared.chosen[2]) == (1, 1)
    assert shared.runner_up_costs(0) == pytest.approx(2.0)


def test_letters_without_a_common_setup_are_an_error() -> None:
    shots = [walker([-90.0], [0.0], name=name) for name in ("010", "020")]
    other = replace(
        shots[1], states=tuple(replace(s, setup="x") for s in shots[1].states)
    )
    with pytest.raises(SolverError, match="none in common"):
        choose_sequence([shots[0], other], shared={"010": "A", "020": "A"})


def test_last_nights_setup_stays_until_it_is_beaten_by_the_margin() -> None:
    angles = [-90.0, -60.0]
    for new, chosen in ((3.45, 1), (3.35, 0)):
        shot = walker(angles, [new, 4.0], name="010", kept=1)
        assert choose_sequence([shot], margin=0.15).chosen == (chosen,)
        assert choose_sequence([replace(shot, kept=None)]).chosen == (0,)
        assert choose_sequence([shot], margin=0.0).chosen == (0,)


def test_each_shot_can_have_its_own_margin() -> None:
    shot = walker([-90.0, -60.0], [3.0, 4.0], name="010", kept=1)
    assert choose_sequence([replace(shot, margin=0.2)]).chosen == (0,)
    assert choose_sequence([replace(shot, margin=0.3)]).chosen == (1,)


def test_a_missing_shot_parts_its_neighbours_but_not_their_side() -> None:
    first = walker([-90.0], [0.0], name="010")
    third = walker([-80.0, 60.0], [0.0, 0.5], name="030")
    # Ten degrees and the same lens cost more than the other side of the line.
    assert choose_sequence([first, third]).chosen == (0, 1)
    assert choose_sequence([first, replace(third, gap=True)]).chosen == (0, 0)
    beside = walker([60.0], [0.0], name="030", gap=True)
    assert choose_sequence([first, beside]).total == pytest.approx(8.0)


def test_a_choice_that_is_kept_is_chosen_again() -> None:
    rng = np.random.default_rng(11)
    for _ in range(40):
        shots, letters = random_sequence(rng)
        tonight = choose_sequence(shots, shared=letters)
        again = [
            replace(shot, kept=k, unchanged=True)
            for shot, k in zip(shots, tonight.chosen, strict=True)
        ]
        assert choose_sequence(again, shared=letters).chosen == tonight.chosen


def _with_steps_aside(shot: OpenShot, rng: np.random.Generator) -> OpenShot:
    """The shot whose subject stands 5 cm elsewhere, and whose setups score anew."""
    aside = 0.05 * np.array([rng.normal(), 0.0, rng.normal()])
    states = []
    for state in shot.states:
        end = state.first
        eyes = tuple(float(e + d) for e, d in zip(end.eyes, aside, strict=True))
        place = tuple(float(p + d) for p, d in zip(end.place, aside, strict=True))
        seen = replace(
            end, eyes=eyes, place=place, u=end.u + float(rng.normal()) * 0.01
        )
        score = state.score * float(1 + 0.02 * rng.normal())
        states.append(replace(state, first=seen, last=seen, score=score))
    return replace(shot, states=tuple(states))


def test_five_centimetres_in_one_shot_change_no_other_shots_setup() -> None:
    rng = np.random.default_rng(21)
    for _ in range(20):
        shots = long_sequence(rng, 10, 12)
        last_night = choose_sequence(shots).chosen
        for k in range(len(shots)):
            tonight = [
                replace(
                    _with_steps_aside(shot, rng) if j == k else shot,
                    kept=last_night[j],
                    unchanged=j != k,
                )
                for j, shot in enumerate(shots)
            ]
            chosen = choose_sequence(tonight).chosen
            assert [j for j in range(10) if chosen[j] != last_night[j]] in ([], [k])


def test_a_shot_that_did_not_change_moves_only_to_save_more_than_its_price() -> None:
    first = walker([-90.0, 90.0], [0.0, 0.0], name="010", kept=0, unchanged=True)
    for score, chosen in ((0.0, (0, 0)), (STEADY, (0, 0)), (STEADY + 9, (1, 0))):
        # Crossing is dearer than usual, and the second shot has only one side.
        costs = CutCosts(crosses_line=score)
        second = walker([45.0], [0.0], name="020")
        assert choose_sequence([first, second], costs=costs).chosen == chosen


def _flipped(state: State) -> State:
    return replace(
        state,
        first=mirrored(state.first),
        last=mirrored(state.last),
    )


def _elsewhere(state: State, turn_rad: float) -> State:
    by = (3.0, 0.5, -7.0)
    return replace(
        state,
        first=moved(state.first, turn_rad, by),
        last=moved(state.last, turn_rad, by),
    )


def test_a_mirrored_world_is_shot_from_the_mirrored_places() -> None:
    rng = np.random.default_rng(31)
    for _ in range(30):
        shots, letters = random_sequence(rng)

        other = [
            replace(s, states=tuple(_flipped(state) for state in s.states))
            for s in shots
        ]
        one = choose_sequence(shots, shared=letters, costs=VARIED)
        two = choose_sequence(other, shared=letters, costs=VARIED)
        assert one.chosen == two.chosen
        assert one.total == pytest.approx(two.total, abs=1e-5)


def test_a_world_turned_and_shifted_is_shot_the_same_way() -> None:
    rng = np.random.default_rng(32)
    for _ in range(30):
        shots, letters = random_sequence(rng)
        turn = float(rng.uniform(-3, 3))
        other = [
            replace(s, states=tuple(_elsewhere(state, turn) for state in s.states))
            for s in shots
        ]
        one = choose_sequence(shots, shared=letters, costs=VARIED)
        two = choose_sequence(other, shared=letters, costs=VARIED)
        assert one.total == pytest.approx(two.total, abs=1e-4)
        for extra, other_extra in zip(one.forced, two.forced, strict=True):
            assert extra == pytest.approx(other_extra, abs=1e-4)


def _views(state: State) -> State:
    return replace(
        state,
        first=EndView.from_plain(state.first.plain()),
        last=EndView.from_plain(state.last.plain()),
    )


def test_of_all_states_but_the_first_only_what_the_camera_sees_counts() -> None:
    rng = np.random.default_rng(33)
    for _ in range(30):
        shots, letters = random_sequence(rng)
        seen = [
            replace(s, states=(s.states[0], *(_views(one) for one in s.states[1:])))
            for s in shots
        ]
        one = choose_sequence(shots, shared=letters, costs=VARIED)
        assert one == choose_sequence(seen, shared=letters, costs=VARIED)


def test_three_hundred_shots_cost_less_than_a_greedy_walk_through_them() -> None:
    shots = long_sequence(np.random.default_rng(41), 300, 24)
    greedy = [0]
    for k in range(1, len(shots)):
        ways = [path_cost(shots[k - 1 : k + 1], [greedy[-1], i], CutCosts(), {})
                for i in range(24)]  # fmt: skip
        greedy.append(int(np.argmin(ways)))
    walked = path_cost(shots, greedy, CutCosts(), {})
    choice = choose_sequence(shots)
    assert path_cost(shots, choice.chosen, CutCosts(), {}) == round(choice.total * 1e6)
    assert choice.total * 1e6 < 0.9 * walked
