"""Runs the sections: `python -m bench [quick] [--cores N,N,...] [SECTION ...]`."""

import importlib
import sys
import time
from dataclasses import replace

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
    if "--cores" in words:
        at = words.index("--cores")
        given, words = words[at + 1 : at + 2], [*words[:at], *words[at + 2 :]]
        cores = "".join(given).split(",")
        if not all(each.isdigit() and int(each) > 0 for each in cores):
            print("bench: --cores needs numbers of cores, such as 16,8,2,1")
            return 2
        sizes = replace(sizes, cores=tuple(map(int, cores)))
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
