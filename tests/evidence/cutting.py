"""Cuts of recorded two-person actions: how long pictures are held, against the prior.

    PYTHONPATH=tests python -m evidence.cutting

Two football players a few metres apart, twenty seconds each, drawn with a seed: one
camera on each and one on both, all laid by the solver, cut with the weights that a job
has when it says nothing. Nothing was set on these pairs.
"""

import tempfile
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import motion
import numpy as np
from scipy import stats

from carrellata.jobs.job.parse import parse_job
from carrellata.jobs.run.local import solve_job
from carrellata.jobs.takes.actions import CoveredAction, read_action
from carrellata.jobs.takes.keys import canonical
from carrellata.solver.coverage.lengths import MEDIAN_S, SPREAD

N_ACTIONS, SECONDS, FIRST = 20, 20.0, 1001
APART_M = (1.5, 10.0)  # on average
RATE = 50
STICKS = {"rig": {"kind": "choose"}, "lens_mm": "choose"}
CAMERAS = [
    {"name": "both", "on": [1, 2], "size": "full", **STICKS},
    {"name": "one", "on": 1, "size": "cowboy", **STICKS},
    {"name": "two", "on": 2, "size": "cowboy", **STICKS},
]


def actions() -> Iterator[dict[str, Any]]:
    """Yield actions of pairs of players, as tables of a job."""
    tracks = motion.hawkeye()
    names = sorted(tracks)
    rng = np.random.default_rng(23)
    n, found = round(SECONDS * RATE), 0
    while found < N_ACTIONS:
        pair = [tracks[name][1] for name in rng.choice(names, 2, replace=False)]
        k = int(rng.integers(0, min(map(len, pair)) - n))
        pair = [points[k : k + n] for points in pair]
        apart = np.linalg.norm(pair[0] - pair[1], axis=1).mean()
        if not APART_M[0] <= apart <= APART_M[1]:
            continue
        middle = pair[0].mean(axis=0)
        yield {
            "name": f"pair_{found}",
            "scene": f"pitch_{found}",
            "frames": [FIRST, FIRST + n - 1],
            "subjects": [
                _subject(name, points - middle)
                for name, points in zip("ab", pair, strict=True)
            ],
            "cameras": CAMERAS,
        }
        found += 1


def _subject(name: str, points: np.ndarray) -> dict[str, Any]:
    columns = {
        axis: values.tolist() for axis, values in zip("xyz", points.T, strict=True)
    }
    frames = list(range(FIRST, FIRST + len(points)))
    samples = {"frame": frames, **columns}
    return {"name": name, "samples": samples, "at": "floor", "height_m": 1.8}


def covered(folder: Path) -> list[CoveredAction]:
    """Solve the actions below a folder; return what came of those that have a cut."""
    tables = {
        "schema": "carrellata.job/1",
        "sequence": "pitch",
        "rate": str(RATE),
        "world": {"up": "y", "metres_per_unit": 1},
        "camera": {
            "film_back": "super35-4perf",
            "aspect": 2.39,
            "lens_kit_mm": [18, 25, 35, 50, 75, 100, 135],
        },
        "defaults": {"framing": {"size": "full"}},
        "actions": list(actions()),
    }
    parse_job(tables)
    job = folder / "job.json"
    job.write_text(canonical(tables), encoding="utf-8")
    outcome = solve_job(job, folder / "out")
    found = [read_action(outcome.folder, f"pair_{k}") for k in range(N_ACTIONS)]
    return [one for one in found if one is not None and one.pictures]


def main() -> None:
    """Print how long pictures are held, and what the cuts are faulted for."""
    with tempfile.TemporaryDirectory() as folder:
        found = covered(Path(folder))
    held = [one.n_frames / RATE for each in found for one in each.pictures]
    # The first and the last picture end where the action does.
    inner = [one.n_frames / RATE for each in found for one in each.pictures[1:-1]]
    prior = stats.lognorm(s=SPREAD, scale=MEDIAN_S)
    print(f"{len(found)} of {N_ACTIONS} actions with a cut, {len(held)} pictures")
    for name, lengths in (("all", held), ("between cuts", inner)):
        test = stats.kstest(lengths, prior.cdf)
        spread = float(np.std(np.log(lengths)))
        print(
            f"{name}: median {np.median(lengths):.2f} s ({MEDIAN_S} s), spread "
            f"{spread:.2f} ({SPREAD}), Kolmogorov-Smirnov {test.statistic:.3f}, "
            f"p {test.pvalue:.2g}"
        )
    cuts = [one for each in found for one in each.pictures[1:]]
    print(f"cuts that bring nothing: {sum(not one.brings for one in cuts)}")
    names = Counter(one["name"] for each in cuts for one in each.findings)
    print(f"findings of {len(cuts)} cuts: {dict(sorted(names.items()))}")


if __name__ == "__main__":
    main()
