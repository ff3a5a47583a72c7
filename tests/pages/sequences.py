"""Sequences for tests of the index: long ones, and one with planted faults."""

import json
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq
from walks import FIRST, save_job, walk, walking_job, walking_shot

from carrellata.jobs.places.atomic import name_whole
from carrellata.jobs.review.write import write_review
from carrellata.jobs.run.local import solve_job


def planted(folder: Path) -> Path:
    """Solve three sound shots and three faulty ones; return the review's index.

    The line is crossed from 010 to 020; 030 is out of focus, for its puller reacts
    late to somebody who rushes at a long lens; 040 loses somebody who bolts.
    """
    across = {"kind": "sticks", "at": [170, 900, 150]}
    near = {"kind": "sticks", "at": [170, -100, 150]}
    rush = walk(bend=0.0) | {"x": [170.0 for _ in walk()["x"]]}
    rush["y"] = [1400.0 - 30.0 * (frame - FIRST) for frame in rush["frame"]]
    bolt = walk(bend=0.0)
    bolt["x"] = [100.0 + 60.0 * max(0, f - FIRST - 10) for f in bolt["frame"]]
    slow = {"preset": "heavy_head", "puller": {"method": "eye", "reaction_s": 0.6}}
    job = walking_job(
        walking_shot("010", rig=near),
        walking_shot("020", rig=across),
        walking_shot("030", subjects=_one(rush), rig=near, lens_mm=50, crew=slow),
        walking_shot("040", subjects=_one(bolt), rig=near, crew=slow),
        walking_shot("050", scene="other"),
        camera={
            "film_back": "super35-4perf",
            "aspect": 2.39,
            "stop": 1.4,
            "lens_kit_mm": [18, 25, 35, 50],
        },
    )
    outcome = solve_job(save_job(folder, job), folder / "out", workers=1)
    return outcome.folder / "review" / "index.html"


def _one(samples: dict[str, list[float]]) -> list[dict[str, Any]]:
    limits = {"limit_m_s": 100.0}
    body = {"name": "runner", "at": "floor", "height_m": 1.7}
    return [body | limits | {"samples": samples}]


def long_sequence(folder: Path, n_shots: int) -> Path:
    """Write the review of many shots, copies of one take, each with four findings."""
    outcome = solve_job(
        save_job(folder, walking_job(walking_shot("010"))), folder / "out", workers=1
    )
    table = pq.read_table(outcome.folder / "sequence.parquet")
    (row,) = table.to_pylist()
    text = "010 keeps the asked size within 25 % for 31.2 % of the time; use a longer "
    finding = {
        "name": "size_not_kept",
        "severity": "warning",
        "of": "shot",
        "numbers": {"size_kept": 0.312},
        "source": "common practice, no source",
        "text": f"{text}lens from further off, or a dolly.",
        "accepted": None,
    }
    findings = [finding, finding | {"severity": "note"}, finding | {"of": "cut"}] * 2
    rows = [
        row | {"shot": f"{k:04d}", "findings": json.dumps(findings[: 1 + k % 6])}
        for k in range(n_shots)
    ]
    pq.write_table(
        pa.Table.from_pylist(rows, schema=table.schema),
        outcome.folder / "sequence.parquet",
        write_page_checksum=True,
    )
    takes = outcome.folder / "takes"
    for each in rows:
        name_whole(takes / f"{each['shot']}.parquet", takes / "010.parquet")
    return write_review(outcome.folder)
