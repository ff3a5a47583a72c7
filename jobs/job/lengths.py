"""Lengths as the trade writes them: `12ft 6in`, `12' 6"`, `30in`.

They may stand wherever a job has a length in metres or in scene units.
"""

import re
from typing import Any

from .locations import Location
from .quantities import SCENE_UNITS, unit_of

FOOT_M, INCH_M = 0.3048, 0.0254  # exact: international foot
_NUMBER = r"\d{1,6}(?:\.\d{1,6})?"
_LENGTH = re.compile(
    rf"(?P<sign>-?)\s*(?:(?P<feet>{_NUMBER})\s*(?:ft|feet|foot|'))?"
    rf"\s*(?:(?P<inches>{_NUMBER})\s*(?:in|inch|inches|\"))?",
    re.ASCII,
)

# The same for the job's schema, whose dialect knows no flags.
_FOOT = r"(?:[fF][tT]|[fF][eE][eE][tT]|[fF][oO][oO][tT]|')"
_INCH = r"(?:[iI][nN]|[iI][nN][cC][hH]|[iI][nN][cC][hH][eE][sS]|\")"
LENGTH_PATTERN = (
    rf"^\s*-?\s*(?:{_NUMBER}\s*{_FOOT}(?:\s*{_NUMBER}\s*{_INCH})?"
    rf"|{_NUMBER}\s*{_INCH})\s*$"
)


def metres_of(text: str) -> float | None:
    """Return a length in feet and inches in metres [m], None for any other text."""
    found = _LENGTH.fullmatch(text.strip().lower())
    if found is None or (found["feet"] is None and found["inches"] is None):
        return None
    feet, inches = float(found["feet"] or 0), float(found["inches"] or 0)
    metres = feet * FOOT_M + inches * INCH_M
    return -metres if found["sign"] else metres


def with_metres(table: Any, metres_per_unit: float, at: Location = ()) -> Any:
    """Return a shot's table with its lengths in feet and inches as numbers.

    Args:
        table: unchecked; what is no such length stays as it is.
        metres_per_unit: of the scene, for what is in scene units.
        at: where the table stands in the shot.
    """
    if isinstance(table, dict):
        return {
            name: one
            if name == "samples"  # numbers, and many
            else with_metres(one, metres_per_unit, (*at, name))
            for name, one in table.items()
        }
    if isinstance(table, list | tuple):
        return [with_metres(one, metres_per_unit, at) for one in table]
    if not isinstance(table, str):
        return table
    unit = unit_of(at)
    if unit not in ("m", SCENE_UNITS):
        return table
    metres = metres_of(table)
    if metres is None:
        return table
    return metres if unit == "m" else round(metres / metres_per_unit, 9)
