"""The setups of a shot of 120 frames: proposed, simulated, scored, the best refined."""

import cProfile
import pstats
import time
from statistics import median

import five_seconds
from asks import open_ask

from carrellata.solver.setups.search import candidates
from carrellata.solver.setups.setup import Ask
from carrellata.solver.setups.trial import Rehearsal

from .clock import paired
from .figures import Figure, Sizes

STAGES = {
    "propose": ("propose_standing", "propose_rails", "_rail_lenses", "build"),
    "work": ("tried_within",),
    "score": ("judged",),
}


def asks(count: int) -> list[Ask]:
    """Return open shots of five seconds of recorded people, spread over all."""
    pieces = [piece for piece in five_seconds.pieces() if piece.floor.shape[0] > 40]
    return [open_ask(one.subject) for one in pieces[:: max(1, len(pieces) // count)]][
        :count
    ]


def run(sizes: Sizes) -> list[Figure]:
    """Time the whole search, and tell where the time goes."""
    asked = asks(sizes.asks)
    tried = []

    def search() -> None:
        tried.clear()
        for ask in asked:
            stage = Rehearsal(ask)
            candidates(ask, stage)
            tried.append(stage.n_trials)

    seconds = median(paired({"search": search}, min(sizes.repeats, 5))["search"])
    profile = cProfile.Profile(time.perf_counter)
    profile.runcall(search)
    # Rows of a profile are keyed by (file, line, function); fourth is the time in all.
    rows = pstats.Stats(profile).stats  # type: ignore[attr-defined]
    whole = max(row[3] for row in rows.values())
    figures = [
        Figure(
            name="setups_ms_a_shot",
            value=seconds / len(asked) * 1e3,
            unit="ms",
            note=f"{len(asked)} shots, {min(tried)} to {max(tried)} setups each",
        ),
        Figure(name="setups_us_each", value=seconds / sum(tried) * 1e6, unit="us"),
    ]
    for stage, names in STAGES.items():
        spent = sum(row[3] for key, row in rows.items() if key[2] in names)
        figures.append(
            Figure(
                name=f"setups_{stage}_share",
                value=100 * spent / whole,
                unit="%",
                better="",
                note="under the profiler",
            )
        )
    return figures
