"""Every crossing of a pair's line is found and none invented: plain geometry says so.

People walk at random, two to four of them; each of two consecutive shots has some of
them in its action and follows one. The oracle knows where they walk and where the
cameras stand, and takes cross products.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray
from shots import acted, framing, shot, sticks

from carrellata.solver.cuts.at_cut import cut_action
from carrellata.solver.cuts.continuity import CutShot, cut_findings
from carrellata.solver.cuts.end import trial_ends
from carrellata.solver.shot import Shot

RATE, N = 24, 13  # half a second a shot
N_SCENES, N_CUTS = 200, 50
NAMES = ("a", "b", "c", "d")
CROSSINGS = ("crosses_line", "near_axis", "screen_direction")
Floats = NDArray[np.float64]


def a_shot_of(
    rng: np.random.Generator, start: Floats, speed: Floats, first: int
) -> tuple[Shot, list[int], int]:
    """A shot with some of the people, whom it follows, and which they are."""
    n_in = int(rng.integers(1, len(start) + 1))
    who = sorted(rng.choice(len(start), n_in, replace=False).tolist())
    followed = int(rng.integers(n_in))
    people = [
        acted(
            lambda t, k=k: start[k] + np.outer(t + first / RATE, speed[k]),
            (N - 1) / RATE,
            first=first,
            name=NAMES[k],
        )
        for k in who
    ]
    weights = tuple(float(k == followed) for k in range(n_in))
    return (
        shot(people, sticks(), framings=(framing(weights=weights),)),
        who,
        who[followed],
    )


def the_pairs(
    people: list[list[int]], places: list[Floats], followed: list[int], lens: Floats
) -> list[dict[str, str]]:
    """The pairs whose line is crossed at each of some cuts, and what that is called.

    Args:
        people: in the action of each of the two shots.
        places: of everybody at the two frames of the cut, on the ground, (n, 2).
        followed: by each of the two shots.
        lens: places of the two lenses, (2, n_cuts, 2).
    """
    found: list[dict[str, str]] = [{} for _ in range(lens.shape[1])]
    both = sorted(set(people[0]) & set(people[1]))
    for i, one in enumerate(both):
        for two in both[i + 1 :]:
            along = [at[two] - at[one] for at in places]
            if min(np.hypot(*way) for way in along) < 0.3:
                continue
            sides, angles = [], []
            for way, at, whom, cams in zip(along, places, followed, lens, strict=True):
                middle = (at[one] + at[two]) / 2
                look = at[whom] if whom in (one, two) else middle
                off = cams - look
                cross = way[0] * off[:, 1] - way[1] * off[:, 0]
                sides.append(cross > 0)
                size = np.hypot(*way) * np.hypot(off[:, 0], off[:, 1])
                angles.append(np.degrees(np.arcsin(np.abs(cross) / size)))
            turned = along[0] @ along[1] < 0
            near = np.minimum(*angles) < 10.0
            for k in np.flatnonzero(sides[0] != sides[1]).tolist():
                name = "near_axis" if near[k] else "crosses_line"
                name = "screen_direction" if turned else name
                found[k][f"{NAMES[one]}|{NAMES[two]}"] = name
    return found


def test_ten_thousand_cuts_report_every_crossing_of_a_pair_and_no_other() -> None:
    rng = np.random.default_rng(17)
    n_crossed = n_cuts = n_kept = 0
    for _ in range(N_SCENES):
        n_people = int(rng.integers(2, 5))
        start = rng.uniform(-4, 4, (n_people, 3)) * [1, 0, 1]
        speed = rng.normal(0, 1.5, (n_people, 3)) * [1, 0, 1]
        made = [a_shot_of(rng, start, speed, first) for first in (0, N)]
        actions = [cut_action(one) for one, _, _ in made]
        at = [(start + frame / RATE * speed)[:, [0, 2]] for frame in (N - 1, N)]
        lens = rng.uniform(-9, 9, (2, N_CUTS, 2))
        people = [who for _, who, _ in made]
        followed = [whom for _, _, whom in made]
        expected = the_pairs(people, at, followed, lens)
        for k in range(N_CUTS):
            ends = []
            for (one, _, _), action, cams in zip(made, actions, lens, strict=True):
                x, z = cams[k]
                row = np.tile([x, 1.5, z, 0.0], (N, 1))
                screen = np.tile([0.0, 0.0, 0.5], (N, 1))
                ends.append(trial_ends(one, one.lens, action, row, screen))
            shots = [
                CutShot(name=f"{j}", scene="s", elapsed=False, ends=end)
                for j, end in enumerate(ends)
            ]
            found: dict[Any, str] = {
                f.numbers["subject"]: f.name
                for f in cut_findings(shots)[1]
                if f.name in CROSSINGS and "|" in str(f.numbers["subject"])
            }
            assert found == expected[k]
            n_crossed += len(found)
            n_kept += not found
            n_cuts += 1
    assert n_cuts == 10_000
    assert n_crossed > 2_000
    assert n_kept > 2_000
