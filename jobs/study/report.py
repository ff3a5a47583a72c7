"""A study on disk: a table with a row a camera, and a page to read."""

import json
from collections import Counter
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from ...solver.cuts.continuity import lens_use
from ..places.atomic import write_whole
from ..places.place import Place
from ..review.shell import page
from .run import Studied, cut_shots
from .spec import StudyFile
from .words import finding_words, study_lines, use_lines


def plain(file: StudyFile, found: list[Studied]) -> dict[str, Any]:
    """Return a study as values that JSON carries."""
    return {
        "sequence": file.sequence,
        "cameras": [
            {
                "name": one.name,
                **one.row,
                "findings": _findings(one),
                "faults": [
                    {"path": fault.path, "message": fault.message}
                    for fault in one.faults
                ],
            }
            for one in found
        ],
        "use": use_of(file, found),
    }


def use_of(file: StudyFile, found: list[Studied]) -> dict[str, Any]:
    """Return lens and size use by count, and the lengths of the shots [s]."""
    rows = [one.row for one in found if one.row]
    lenses = lens_use(cut_shots(file, found))
    lengths = sorted(row["seconds"] for row in rows)
    return {
        "lenses_mm": {f"{mm:g}": n for mm, n in lenses.items()},
        "sizes": dict(Counter(row["size"] for row in rows)),
        "shortest_s": lengths[0] if rows else None,
        "median_s": lengths[len(rows) // 2] if rows else None,
        "longest_s": lengths[-1] if rows else None,
    }


def write_report(folder: Place, file: StudyFile, found: list[Studied]) -> None:
    """Write `study.parquet` and `index.html` into a folder.

    Raises:
        OSError: one could not be written.
    """
    write_whole(folder / "study.parquet", _table(found))
    write_whole(folder / "index.html", _page(file, found).encode())


def _findings(one: Studied) -> list[dict[str, Any]]:
    return [
        {
            "name": finding.name,
            "severity": finding.severity,
            "of": finding.subject_of,
            "numbers": dict(finding.numbers),
            "source": finding.source,
            "text": finding_words(finding, one.name),
        }
        for finding in one.findings
    ]


def _table(found: list[Studied]) -> bytes:
    rows = [
        {
            "camera": one.name,
            "status": "failed" if one.faults else "studied",
            "findings": json.dumps(_findings(one)),
            "error": "\n".join(map(str, one.faults)) or None,
            **{name: _cell(value) for name, value in one.row.items()},
        }
        for one in found
    ]
    names = list(dict.fromkeys(name for row in rows for name in row))
    table = pa.table({name: [row.get(name) for row in rows] for name in names})
    buffer = pa.BufferOutputStream()
    pq.write_table(table, buffer, compression="zstd", write_page_checksum=True)
    data: bytes = buffer.getvalue().to_pybytes()
    return data


def _cell(value: Any) -> Any:
    return json.dumps(value) if isinstance(value, dict | list) else value


def _page(file: StudyFile, found: list[Studied]) -> str:
    cameras = [
        {
            "name": one.name,
            "faults": [str(fault) for fault in one.faults],
            "lines": [
                line.partition(": ")[::2]
                for line in (study_lines(one.row) if one.row else ())
            ],
            "findings": [
                (finding.severity, finding_words(finding, one.name))
                for finding in one.findings
            ],
        }
        for one in found
    ]
    return page(
        "study.html",
        sequence=file.sequence,
        cameras=cameras,
        use=list(use_lines(use_of(file, found))) if len(found) > 1 else [],
    )
