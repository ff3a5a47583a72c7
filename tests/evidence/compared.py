"""People, crew and plain ways side by side, with intervals, and held-out files apart.

    PYTHONPATH=tests python -m evidence.compared

prints both tables; the page shows the same rows.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from .bands import CROSSOVER_BAND, DELAY_BAND
from .clips import Clip, Row, clip_rows, clips
from .people import OPERATOR, PEOPLE, RUNS, Runs, interval, pairs, trackers

FloatArray = NDArray[np.float64]
NONE = "\N{EN DASH}"
COMPUTED = "computed here"
ON_FUNCTION = (
    "who", "crossover rad/s", "effective delay s", "spread of crossover rad/s",
    "of it at the same phases", "share of speed above 1 Hz", "speed peaks a second",
    "lag s", "miss over target r.m.s.", "residual of the fit", "source",
)  # fmt: skip
ON_RECORDINGS = (
    "recordings", "who", "files", "clips", "in frame %", "lag s",
    "miss r.m.s. half frames", "share of pan speed above 1 Hz", "speed peaks a second",
    "first answer s",
)  # fmt: skip


def on_function(people: dict[str, Runs]) -> list[list[str]]:
    """Return a row a tracker on the people's function, under `ON_FUNCTION`."""
    nothing = [NONE] * 5
    return [
        [
            "eight people, least to most",
            _range(PEOPLE.crossover),
            _range(PEOPLE.delay_s),
            _range(PEOPLE.spread),
            NONE,
            *nothing,
            "EmDash00/CPHS2017, measured by us",
        ],
        [
            "people, other targets",
            _range(CROSSOVER_BAND),
            _range(DELAY_BAND),
            NONE,
            NONE,
            *nothing,
            "McRuer and Jex 1967, from memory",
        ],
        [
            "one broadcast operator",
            *[NONE] * 4,
            _range(OPERATOR.share, " or "),
            _range(OPERATOR.peaks, " or "),
            *[NONE] * 3,
            "lulufa390/Pan-tilt-zoom-SLAM, measured by us",
        ],
        *(_tracker(name, runs) for name, runs in people.items()),
    ]


def on_recordings(rows: Sequence[Row], recorded: Sequence[Clip]) -> list[list[str]]:
    """Return a row a way to follow, files set on and held out apart, from sticks."""
    known = {clip.name: clip for clip in recorded}
    found = []
    for held_out, words in ((False, "set on"), (True, "held out")):
        for solver in dict.fromkeys(row.solver for row in rows):
            mine = [
                row
                for row in rows
                if row.rig == "sticks"
                and row.solver == solver
                and known[row.clip].held_out is held_out
            ]
            if not mine:
                continue
            files = {known[row.clip].source for row in mine}
            found.append(
                [
                    words,
                    solver,
                    str(len(files)),
                    str(len(mine)),
                    f"{100 * np.mean([row.in_frame for row in mine]):.1f}",
                    _over_clips([row.lag_s for row in mine]),
                    _over_clips([row.miss_rms for row in mine]),
                    _over_clips([row.restless for row in mine]),
                    _over_clips([row.corrections_per_s for row in mine]),
                    f"{min(row.first_s for row in mine):.2f}",
                ]
            )
    return found


def _tracker(name: str, runs: Runs) -> list[str]:
    spread = interval(pairs(runs.crossover), spread=True)
    return [
        name,
        _mean(runs.crossover),
        _mean(runs.delay_s, 3),
        _shown(runs.spread, spread),
        f"{runs.repeat:.2f}",
        _mean(runs.restless),
        _mean(runs.peaks),
        _mean(runs.lag_s),
        _mean(runs.miss),
        _mean(runs.residual),
        COMPUTED,
    ]


def _mean(values: FloatArray, places: int = 2) -> str:
    if not np.isfinite(values).all():
        return NONE
    return _shown(float(values.mean()), interval(pairs(values)), places)


def _over_clips(values: Sequence[float | None]) -> str:
    there = np.array([value for value in values if value is not None])
    if len(there) == 0:
        return NONE
    return _shown(float(there.mean()), interval(there))


def _shown(value: float, ends: tuple[float, float], places: int = 2) -> str:
    low, high = (end + 0.0 for end in ends)
    return f"{value:.{places}f} [{low:.{places}f}, {high:.{places}f}]"


def _range(values: tuple[float, ...], word: str = " to ") -> str:
    text = f"{values[0]:g}{word}{values[1]:g}"
    return text if len(values) < 3 else f"{text}, mean {values[2]:g}"


def printed(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Return a table as text, columns in line."""
    lines = [list(heads), *map(list, rows)]
    wide = [max(len(line[k]) for line in lines) for k in range(len(heads))]
    return "\n".join(
        "  ".join(word.ljust(n) for word, n in zip(line, wide, strict=True)).rstrip()
        for line in lines
    )


def both(people: dict[str, Runs], rows: Sequence[Row], recorded: Sequence[Clip]) -> str:
    """Return both tables as text, each under a line that says what it is."""
    return "\n".join(
        (
            f"One function, {RUNS} runs; 95 % intervals, bootstrap over sets of phases",
            printed(ON_FUNCTION, on_function(people)),
            "",
            "Recorded motion from sticks; 95 % intervals, bootstrap over clips",
            printed(ON_RECORDINGS, on_recordings(rows, recorded)),
        )
    )


def main() -> None:
    """Print both tables."""
    recorded = clips()
    print(both(trackers(), list(clip_rows(recorded)), recorded))


if __name__ == "__main__":
    main()
