"""Heads of recorded people in the final picture, everything open, a line a size.

Long: `pytest -m long -s tests/e2e/test_heads_on_real_motion.py` prints mean and worst
share of the frames with the head in, of the frames that show it, the headroom, and how
many shots have no setup. Film back and kit are those of the other tables.
"""

from dataclasses import replace

import numpy as np
import pytest
from asks import open_ask
from five_seconds import Piece, pieces

from carrellata.solver.measures.measure import measure
from carrellata.solver.setups.search import candidates
from carrellata.solver.setups.setup import in_setup
from carrellata.solver.shake import LEVELS
from carrellata.solver.take import operate

KIT_MM = (18, 25, 35, 50, 75, 100, 135)
SIZES = ("full", "knee", "cowboy", "medium", "chest", "close")
LEAST_MEAN = dict.fromkeys(SIZES[:4], 0.999) | dict.fromkeys(SIZES[4:], 0.995)
LEAST = dict.fromkeys(SIZES, 0.98) | {"close": 0.95}
MOST_WITHOUT = dict.fromkeys(SIZES, 0.03) | {"close": 0.08}


def filmed(piece: Piece, size: str) -> dict[str, float | None] | None:
    """Return the measures of the best setup's take, None where none holds."""
    ask = open_ask(piece.subject, size, kit=KIT_MM)
    ask = replace(ask, shot=replace(ask.shot, shake=LEVELS["settled"]))
    found = candidates(ask)
    if not found or not found[0].holds:
        return None
    return measure(operate(in_setup(ask.shot, found[0].setup)))


@pytest.mark.long
@pytest.mark.parametrize("size", SIZES)
def test_heads_stay_in_the_picture(size: str) -> None:
    every = pieces()
    found = [filmed(piece, size) for piece in every]
    kept = [each for each in found if each is not None]
    heads = np.array([each["head_in_frame"] for each in kept], dtype=np.float64)
    room = np.array([each["headroom_p50"] for each in kept], dtype=np.float64)
    tilts = np.array([each["tilt_decisions_per_s"] for each in kept], dtype=np.float64)
    pans = np.array([each["pan_decisions_per_s"] for each in kept], dtype=np.float64)
    without = 1 - len(kept) / len(every)
    print(
        f"\n{size:<7} head in frame {heads.mean():.4f}, worst {heads.min():.4f}; "
        f"headroom {np.median(room):.3f} (most {room.max():.3f}); decisions pan "
        f"{pans.mean():.2f}, tilt {tilts.mean():.2f} a second; without a setup "
        f"{without:.1%} of {len(every)}"
    )
    assert heads.mean() >= LEAST_MEAN[size]
    assert heads.min() >= LEAST[size]
    assert without <= MOST_WITHOUT[size]
