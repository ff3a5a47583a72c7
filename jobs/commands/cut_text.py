"""A shot list as the start of a job file."""

import json
import re
from typing import Any

from ..coverage.cutlist import CutList
from ..job.quantities import NAME_PATTERN
from ..job.rate import rate_text


def cut_tables(cut: CutList) -> dict[str, Any]:
    """Return a shot list as tables of a job file, without what a cut cannot say."""
    tables: dict[str, Any] = {"schema": "carrellata.job/1"}
    if re.fullmatch(NAME_PATTERN, cut.name):
        tables["sequence"] = cut.name
    tables["rate"] = rate_text(cut.rate)
    if cut.timecode is not None:
        tables["timecode"] = cut.timecode
    tables["shots"] = [
        {"name": shot.name, "frames": list(shot.frames), "handles": list(shot.handles)}
        for shot in cut.shots
    ]
    return tables


def cut_toml(cut: CutList) -> str:
    """Return a shot list as TOML, to be filled in by hand."""
    tables = cut_tables(cut)
    shots = tables.pop("shots")
    lines = [f"{name} = {_value(value)}" for name, value in tables.items()]
    for shot, one in zip(shots, cut.shots, strict=True):
        lines += ["", "[[shots]]"]
        lines += [f"{name} = {_value(value)}" for name, value in shot.items()]
        if one.clip != one.name:
            lines[-1] += f"  # clip {_value(one.clip)}"
    return "\n".join(lines) + "\n"


def _value(value: Any) -> str:
    # Texts and whole numbers are written in TOML as in JSON, but for one character.
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
