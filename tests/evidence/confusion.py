"""What a study calls cameras made in known ways: `python -m evidence.confusion`.

Twelve kinds, five motions, four aimed points, with and without shake: 480 studies, in
two processes some minutes. Prints the matrix, how far from the truth fitted reactions
are, and the processor time of a study; `--every N` takes every Nth camera. What the
study goes by was set on draws 0 to 2 of crews and shake: `--draw 3` is a new one.
"""

import argparse
import sys
import time
from collections import Counter
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from fractions import Fraction
from functools import partial
from itertools import islice
from multiprocessing import get_context

import numpy as np
from made_cameras import KINDS, Made, every, make

from carrellata.solver.crew.variability import LATENESS_S
from carrellata.solver.presets import PRESETS
from carrellata.solver.studies.study import (
    CARRIED,
    CREW,
    HELD,
    LAGGED,
    NOT_FOLLOWING,
    RIGID,
    SMOOTHED,
    UNCLEAR,
    study,
)

Words = tuple[str, str, str, bool]
NAMES = (CREW, RIGID, LAGGED, SMOOTHED, HELD, CARRIED, NOT_FOLLOWING, UNCLEAR)
SHORT = ("crew", "rigid", "lag", "smooth", "held", "carried", "none", "unsure")
SAMPLE = 23  # every so many cameras make the sample: of all kinds, motions and points


@dataclass(frozen=True, kw_only=True, slots=True)
class Named:
    """One camera as it was named.

    Attributes:
        words: kind, motion, point, and whether it is shaken.
        truth, called: what it had to be called, and was.
        likewise: what else was said to explain it as well.
        reaction_off_s: fitted less true reaction, the mean lateness of a crew that
            varies counted with it; None without a fit.
        shake_percent: told, None if there is none.
        seconds: of processor.
    """

    words: Words
    truth: str
    called: str
    likewise: tuple[str, ...]
    reaction_off_s: float | None
    shake_percent: float | None
    seconds: float

    @property
    def right(self) -> bool:
        """Whether it was named right."""
        return self.called == self.truth

    @property
    def wrong(self) -> bool:
        """Whether it was named wrongly with confidence: the truth is not offered."""
        sure = self.called != UNCLEAR and self.truth not in self.likewise
        return not self.right and sure


def named(words: Words, draw: int = 0) -> Named:
    """Make one camera and study it."""
    made: Made = make(*words, draw)
    before = time.process_time()
    found = study(made.camera, made.subject, rate=Fraction(24), fit=True)
    seconds = time.process_time() - before
    off = None
    if found.operator is not None and made.truth == CREW:
        true = PRESETS[made.kind].operator.reaction_s + LATENESS_S / 2
        off = found.operator.ranges["reaction_s"].value - true
    return Named(
        words=words,
        truth=made.truth,
        called=found.verdict.kind,
        likewise=found.verdict.likewise,
        reaction_off_s=off,
        shake_percent=found.shake.percent,
        seconds=seconds,
    )


def named_all(step: int = 1, workers: int = 2, draw: int = 0) -> list[Named]:
    """Study every so many of the cameras."""
    words = list(islice(every(), 0, None, step))
    named(words[0])  # what is compiled is not counted
    if workers == 1:
        return [named(one, draw) for one in words]
    with ProcessPoolExecutor(workers, get_context("fork")) as pool:
        return list(pool.map(partial(named, draw=draw), words, chunksize=4))


def lines(found: list[Named]) -> Iterable[str]:
    """Yield the table: a row a kind, a column what it was called."""
    yield f"{'made as':22s}" + "".join(f"{one:>8s}" for one in SHORT) + "  seconds"
    for kind in KINDS:
        mine = [one for one in found if one.words[0] == kind]
        if not mine:
            continue
        counts = Counter(one.called for one in mine)
        cells = "".join(f"{counts[name] or '':>8}" for name in NAMES)
        yield f"{kind:22s}{cells}  {max(one.seconds for one in mine):.2f}"
    right = sum(one.right for one in found)
    wrong = [one for one in found if one.wrong]
    yield f"named right: {right} of {len(found)}; wrongly: {len(wrong)}"
    for one in found:
        if not one.right:
            yield f"  {one.words} is called {one.called}"
    still = [one for one in found if not one.words[3] and one.words[1] != "jumps"]
    shaky = [one for one in still if (one.shake_percent or 0.0) > 0.05]
    yield f"shake told where there is none (over 0.05 %): {len(shaky)} of {len(still)}"
    for kind in PRESETS:
        off = [
            one.reaction_off_s
            for one in found
            if one.words[0] == kind and one.right and one.reaction_off_s is not None
        ]
        if off:
            middle, error = np.median(off), 1.25 * np.std(off) / np.sqrt(len(off))
            yield (
                f"reaction of {kind}: {middle:+.3f} +- {error:.3f} s off in the middle "
                f"of {len(off)}"
            )


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--every", type=int, default=1)
    parser.add_argument("--draw", type=int, default=0)
    asked = parser.parse_args()
    for line in lines(named_all(asked.every, draw=asked.draw)):
        sys.stdout.write(f"{line}\n")


if __name__ == "__main__":
    main()
