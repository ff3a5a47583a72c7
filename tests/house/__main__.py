"""Prints the figures of a checkout: this one, or the one that is named."""

import statistics
import sys
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

from .formulas import arcs, projections
from .sizes import MOST_PARAMETERS, functions, twice_defined, wide_functions
from .tree import ROOMS, Module, circles, floors, folder_arrows, imports, modules

HERE = Path(__file__).resolve().parents[2]


def figures(checkout: Path) -> Iterator[str]:
    """Lines that say how a checkout is built."""
    among = modules(checkout, *ROOMS)
    for room in ROOMS:
        yield from _room(room, [each for each in among if each.room == room])
    yield ""
    twice = twice_defined(among)
    yield f"class names defined twice or more: {len(twice)}"
    yield from (f"  {name}: {', '.join(places)}" for name, places in twice.items())
    found = list(functions(among))
    wide = wide_functions(among)
    yield f"functions over {MOST_PARAMETERS} parameters: {len(wide)} of {len(found)}"
    yield from (f"  {each.n_parameters} {each.place}" for each in wide)
    lengths = [each.n_lines for each in found]
    tenths = statistics.quantiles(lengths, n=10)
    yield (
        f"lines of a function's body: median {statistics.median(lengths):g}, "
        f"90th percentile {tenths[-1]:g}, most {max(lengths)}"
    )
    for title, places in (
        ("projection", projections(among)),
        ("arc", arcs(among)),
    ):
        yield f"{title} formulas: {len(places)}"
        yield from (f"  {place}" for place in places)
    yield ""
    yield from _lines(among, modules(checkout, "tests"))


def _room(room: str, among: list[Module]) -> Iterator[str]:
    yield (
        f"{room}: {len(among)} modules, longest chain of imports "
        f"{floors(imports(among))} modules, {floors(folder_arrows(among))} folders"
    )
    counts = Counter(module.folder for module in among)
    yield "  " + ", ".join(
        f"{folder.removeprefix(room + '/')} {n}" for folder, n in sorted(counts.items())
    )
    for circle in circles(folder_arrows(among)):
        yield f"  circle between folders: {', '.join(sorted(circle))}"


def _lines(among: list[Module], tests: list[Module]) -> Iterator[str]:
    n = Counter(
        {
            room: sum(_n_lines(each) for each in among if each.room == room)
            for room in ROOMS
        }
    )
    each_room = ", ".join(f"{room} {n[room]}" for room in ROOMS)
    of_tests = sum(map(_n_lines, tests))
    yield f"lines of Python: {n.total()} ({each_room}), tests {of_tests}"


def _n_lines(module: Module) -> int:
    return len(module.text.splitlines())


if __name__ == "__main__":
    checkout = Path(sys.argv[1]).resolve() if len(sys.argv) > 1 else HERE
    print("\n".join(figures(checkout)))
