"""Shots handed to processes some at once: each done once, the last ones singly."""

from operator import mul

from deadly import DEADLY, deadly

from carrellata.jobs.processes.pool import _parted, runner


def lost(work: int, shot: int) -> int:
    raise AssertionError(shot)


def test_parts_are_the_shots_in_order_and_shrink_to_one() -> None:
    shots = list(range(200))
    parts = list(_parted(shots, 8, 2))
    assert [shot for part in parts for shot in part] == shots
    sizes = [len(part) for part in parts]
    assert sizes == sorted(sizes, reverse=True)
    assert sizes[0] == 8
    assert sizes[-8:] == [1] * 8
    assert [len(part) for part in _parted(shots, 1, 2)] == [1] * 200
    assert list(_parted([], 8, 2)) == []


def test_every_shot_is_done_once_however_many_go_together() -> None:
    shots = list(range(50))
    with runner(3, 2) as run:
        for at_once in (1, 8):
            done = sorted(run(mul, shots, lost=lost, at_once=at_once))
            assert done == [3 * shot for shot in shots]


def test_who_takes_a_process_along_harms_no_other() -> None:
    with runner(3, 2) as run:
        for at_once in (1, 8):
            done = sorted(run(deadly, range(50), lost=lambda *_: -1, at_once=at_once))
            alive = [3 * shot for shot in range(50) if shot not in DEADLY]
            assert done == [-1, -1, -1, *alive]
        assert sorted(run(mul, [1, 2], lost=lost)) == [3, 6]
