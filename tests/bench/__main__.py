"""Runs the sections and prints the table: `python -m bench [quick] [SECTION ...]`."""

import importlib
import sys
import time

from . import record
from .figures import FULL, QUICK, Figure

SECTIONS = (
    "start",
    "library",
    "plans",
    "crew",
    "takes",
    "follow",
    "setups",
    "sets",
    "coverage",
    "files",
    "feature",
    "growth",
    "farm",
)


def main(words: list[str]) -> int:
    """Run the sections that are named, or all, and write the record of all."""
    sizes = QUICK if "quick" in words else FULL
    asked = [word for word in words if word != "quick"]
    unknown = [word for word in asked if word not in SECTIONS]
    if unknown:
        print(f"bench: no section {unknown[0]} ({', '.join(SECTIONS)})")
        return 2
    about = record.machine()
    figures: list[Figure] = []
    for name in asked or SECTIONS:
        start = time.perf_counter()
        section = importlib.import_module(f"{__package__}.{name}")
        figures += section.run(sizes)
        print(f"bench: {name} {time.perf_counter() - start:.0f} s", file=sys.stderr)
    found = record.rows(figures, record.last_committed(sizes.name))
    print(", ".join(f"{name} {value}" for name, value in about.items()))
    print(record.table(found))
    if not asked:
        record.save(sizes.name, about, found)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
