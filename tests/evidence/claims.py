"""Claims on recorded pairs: how often open setups tell them, asked and not asked.

    PYTHONPATH=tests python -m evidence.claims

Two football players a few metres apart, five seconds each, drawn with a seed: the one
is followed at full size, the other is present. Nothing was set on these pairs.
"""

from collections.abc import Iterator
from dataclasses import replace

import motion
import numpy as np
from asks import open_ask, person

from carrellata.solver.action.claim import Claim
from carrellata.solver.action.subject import Subject
from carrellata.solver.claims.everyone import frames_of_take
from carrellata.solver.claims.measured import outcomes_of
from carrellata.solver.setups.search import candidates
from carrellata.solver.setups.setup import Ask, in_setup
from carrellata.solver.take import operate

N_PAIRS = 10
SECONDS = 5.0
APART_M = (1.5, 7.0)  # on average over the five seconds
LEAST_TRAVEL_M = 3.0  # of the one who is followed
KIT_MM = (18, 25, 35, 50, 75, 100, 135)
CLAIMS = (
    Claim(verb="together", who=("a", "b")),
    Claim(verb="alone", who=("a",)),
    Claim(verb="looms", who=("a",), over="b"),
    Claim(verb="small", who=("a",)),
    Claim(verb="toward", who=("a",)),
    Claim(verb="away", who=("a",)),
    Claim(verb="crosses", who=("a",)),
    Claim(verb="still", who=()),
)


def pairs() -> Iterator[tuple[Subject, Subject]]:
    """Yield who is followed and who is present."""
    tracks = motion.hawkeye()
    names = sorted(tracks)
    rng = np.random.default_rng(18)
    found = 0
    while found < N_PAIRS:
        one, other = rng.choice(names, 2, replace=False)
        rate, a = tracks[one]
        _, b = tracks[other]
        n = int(SECONDS * rate)
        last = min(len(a), len(b)) - n - 1
        if last <= 0:
            continue
        k = int(rng.integers(0, last))
        a, b = a[k : k + n + 1], b[k : k + n + 1]
        apart = np.linalg.norm(a - b, axis=1).mean()
        travel = np.linalg.norm(a[-1] - a[0])
        if APART_M[0] <= apart <= APART_M[1] and travel >= LEAST_TRAVEL_M:
            found += 1
            middle = a.mean(axis=0)
            yield (
                person(a - middle, rate, name="a"),
                person(b - middle, rate, name="b", share=0.0, must_hold=False),
            )


def told(ask: Ask, claim: Claim) -> bool | None:
    """Tell whether the best setup's take tells a claim; None where no setup holds."""
    best = next((each for each in candidates(ask) if each.holds), None)
    if best is None:
        return None
    take = operate(in_setup(ask.shot, best.setup))
    (outcome,) = outcomes_of((claim,), frames_of_take(take))
    return outcome.held


def main() -> None:
    """Print the table."""
    asks = [open_ask(pair, "full", kit=KIT_MM) for pair in pairs()]
    print(f"{len(asks)} pairs; share of the shots with a setup whose claim is told")
    print(f"{'claim':<10} {'asked':>6} {'not asked':>10} {'no setup when asked':>20}")
    for claim in CLAIMS:
        asked = [
            told(replace(ask, shot=replace(ask.shot, claims=(claim,))), claim)
            for ask in asks
        ]
        free = [told(ask, claim) for ask in asks]
        with_setup = [each for each in asked if each is not None]
        share = np.mean(with_setup) if with_setup else float("nan")
        alone = np.mean([each is True for each in free])
        missing = asked.count(None)
        print(f"{claim.verb:<10} {share:>6.0%} {alone:>10.0%} {missing:>20}")


if __name__ == "__main__":
    main()
