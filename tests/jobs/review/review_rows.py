"""Rows of a sequence made by hand, for tests of what the review says of them."""

import json
from typing import Any

from carrellata.jobs.review.rows import SequenceRow, row_of
from carrellata.jobs.takes.sequence_table import ShotRow

TRACK = {"kind": "track", "from": [0, 0, 150], "to": [500, 0, 150], "hold": "abreast"}


def setup(**fields: Any) -> dict[str, Any]:
    found = {"rig": TRACK, "lens_mm": 25.0, "height": None, "side": None, "view": None}
    return {"label": None, **found, **fields}


def finding(name: str, severity: str = "warning", **fields: Any) -> dict[str, Any]:
    found = {"name": name, "severity": severity, "of": "shot", "numbers": {}}
    words = {"source": "a rule", "text": f"It is {name}; mend it.", "accepted": None}
    return {**found, **words, **fields}


def row(
    shot: str,
    *findings: dict[str, Any],
    measures: dict[str, Any] | None = None,
    **fields: Any,
) -> SequenceRow:
    found = {
        "sequence": "chase",
        "scene": "main",
        "shot": shot,
        "status": "solved",
        "take_key": "0" * 64,
        "judge_key": "1" * 64,
        "setup": json.dumps(setup()),
        "crew": "steady",
        "purpose": "",
        "findings": json.dumps(findings),
        "measures": {"seconds": 2.0, "in_frame": 1.0, **(measures or {})},
    }
    return row_of(ShotRow(**{**found, **fields}).plain())
