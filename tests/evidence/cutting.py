"""Cuts of recorded two-person actions: how long pictures are held, against the prior.

    PYTHONPATH=tests python -m evidence.cutting [SHARE...]

Two football players a few metres apart, twenty seconds each, drawn with a seed: one
camera on each and one on both, all laid by the solver, cut with the weights that a job
has when it says nothing, or with shares of the spread drawn beforehand. Nothing was set
on these pairs.
"""

import sys
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
from carrellata.solver.coverage.worth import PictureCosts

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


def job_text(varied: float | None) -> str:
    """Return the job with all actions, as JSON.

    Args:
        varied: share of the spread that is drawn; None: what a job has that says
            nothing.
    """
    cut = {} if varied is None else {"cut": {"varied": varied}}
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
        "actions": [{**one, **cut} for one in actions()],
    }
    parse_job(tables)
    return canonical(tables)


def covered(
    folder: Path, varied: float | None = None
) -> tuple[list[CoveredAction], list[float]]:
    """Solve the actions below a folder, whose takes are kept where they are there.

    Returns:
        What came of the actions that have a cut, and the share of the frames in which
        each camera holds the head of whom it follows.
    """
    job = folder / "job.json"
    job.write_text(job_text(varied), encoding="utf-8")
    outcome = solve_job(job, folder / "out")
    found = [read_action(outcome.folder, f"pair_{k}") for k in range(N_ACTIONS)]
    shares = [row.measures.get("head_in_frame") for row in outcome.rows]
    heads = [float(one) for one in shares if one is not None]
    return [one for one in found if one is not None and one.pictures], heads


def lines_of(found: list[CoveredAction], heads: list[float]) -> list[str]:
    """Return what is to be said of cuts: lengths, and what they are faulted for."""
    held = [one.n_frames / RATE for each in found for one in each.pictures]
    # The first and the last picture end where the action does.
    inner = [one.n_frames / RATE for each in found for one in each.pictures[1:-1]]
    prior = stats.lognorm(s=SPREAD, scale=MEDIAN_S)
    lines = [f"{len(found)} of {N_ACTIONS} actions with a cut, {len(held)} pictures"]
    for name, lengths in (("all", held), ("between cuts", inner)):
        test = stats.kstest(lengths, prior.cdf)
        spread = float(np.std(np.log(lengths)))
        lines.append(
            f"{name}: median {np.median(lengths):.2f} s ({MEDIAN_S} s), spread "
            f"{spread:.2f} ({SPREAD}), Kolmogorov-Smirnov {test.statistic:.3f}, "
            f"p {test.pvalue:.2g}"
        )
    cuts = [one for each in found for one in each.pictures[1:]]
    names = Counter(one["name"] for each in cuts for one in each.findings)
    lost = sum(each["name"] == "beat_missed" for one in cuts for each in one.findings)
    lines += [
        f"{len(cuts)} cuts: {sum(not one.brings for one in cuts)} bring nothing, "
        f"{names['crosses_line']} cross a line, {lost} miss a beat",
        f"heads in frame: least {min(heads):.3f}, mean {np.mean(heads):.3f} of the "
        f"frames of {len(heads)} cameras",
        f"head of whom the picture follows lost: {_lost_s(found):.1f} s of "
        f"{sum(held):.0f} s",
        f"findings of the cuts: {dict(sorted(names.items()))}",
    ]
    return lines


def _lost_s(found: list[CoveredAction]) -> float:
    """Return how long pictures are on while whom they follow is lost [s]."""
    points = sum(one.parts.get("lost", 0.0) for each in found for one in each.pictures)
    return points / PictureCosts().lost


def main() -> None:
    """Print how long pictures are held, by how much of the spread is drawn."""
    shares: list[float | None] = [float(one) for one in sys.argv[1:]]
    with tempfile.TemporaryDirectory() as folder:
        for varied in shares or [None]:
            print("as a job says nothing" if varied is None else f"varied {varied:g}")
            for line in lines_of(*covered(Path(folder), varied)):
                print(f"  {line}")


if __name__ == "__main__":
    main()
