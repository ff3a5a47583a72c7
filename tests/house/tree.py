"""The modules of a checkout and what each imports of the others."""

import ast
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path, PurePosixPath
from typing import TypeVar

ROOMS = ("solver", "jobs", "worker")
PACKAGE = "carrellata"

T = TypeVar("T")


@dataclass(frozen=True)
class Module:
    """A parsed file; `path` is relative to the checkout."""

    path: PurePosixPath
    text: str

    @cached_property
    def tree(self) -> ast.Module:
        return ast.parse(self.text, filename=str(self.path))

    @property
    def room(self) -> str:
        return self.path.parts[0]

    @property
    def folder(self) -> str:
        return str(self.path.parent)

    @property
    def names(self) -> tuple[str, ...]:
        """Parts of the dotted name below the package: of a folder, its own."""
        parts = self.path.with_suffix("").parts
        return parts[:-1] if parts[-1] == "__init__" else parts

    @property
    def package(self) -> tuple[str, ...]:
        """What relative imports count from, the import package included."""
        return (PACKAGE, *self.path.parent.parts)


def modules(checkout: Path, *folders: str) -> list[Module]:
    """Return the Python files below folders of a checkout, in order of their paths."""
    found = [path for name in folders for path in (checkout / name).rglob("*.py")]
    return [
        Module(
            PurePosixPath(path.relative_to(checkout).as_posix()),
            path.read_text(encoding="utf-8"),
        )
        for path in sorted(found)
    ]


def imported_names(tree: ast.AST, package: tuple[str, ...]) -> Iterator[str]:
    """Absolute dotted names that a tree imports, wherever in it they stand.

    Args:
        tree: a parsed file.
        package: that relative imports count from, outermost first.
    """
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            if node.level > len(package):
                yield "<above the package>"
                continue
            start = package[: len(package) - node.level + 1] if node.level else ()
            base = ".".join([*start, *(node.module or "").split(".")]).strip(".")
            # `from carrellata import jobs` names its room only in the alias.
            yield from (f"{base}.{alias.name}" for alias in node.names)


def imports(among: Iterable[Module]) -> dict[Module, set[Module]]:
    """Return what each of the modules imports of the others."""
    among = list(among)
    by_name = {(PACKAGE, *module.names): module for module in among}
    found: dict[Module, set[Module]] = {}
    for module in among:
        used = set()
        for name in imported_names(module.tree, module.package):
            parts = tuple(name.split("."))
            # The last part may be what is imported from a module.
            target = by_name.get(parts) or by_name.get(parts[:-1])
            if target is not None and target is not module:
                used.add(target)
        found[module] = used
    return found


def circles(arrows: Mapping[T, set[T]]) -> list[list[T]]:
    """Return groups of nodes that all reach each other, of two nodes or more."""
    return [group for group in _reaching_each_other(arrows) if len(group) > 1]


def floors(arrows: Mapping[T, set[T]]) -> int:
    """Return the nodes of the longest chain of arrows; a circle counts as one."""
    height: dict[T, int] = {}
    for group in _reaching_each_other(arrows):  # what is reached comes first
        below = {to for node in group for to in arrows[node]} - set(group)
        height |= dict.fromkeys(group, 1 + max((height[to] for to in below), default=0))
    return max(height.values(), default=0)


def _reaching_each_other(arrows: Mapping[T, set[T]]) -> list[list[T]]:
    """Return strongly connected groups, those reached first (Tarjan 1972)."""
    groups: list[list[T]] = []
    number: dict[T, int] = {}
    lowest: dict[T, int] = {}
    stack: list[T] = []

    def visit(node: T) -> None:
        number[node] = lowest[node] = len(number)
        stack.append(node)
        for to in arrows[node]:
            if to not in number:
                visit(to)
                lowest[node] = min(lowest[node], lowest[to])
            elif to in stack:
                lowest[node] = min(lowest[node], number[to])
        if lowest[node] == number[node]:
            at = stack.index(node)
            groups.append(stack[at:])
            del stack[at:]

    for node in arrows:
        if node not in number:
            visit(node)
    return groups


def folder_arrows(among: Iterable[Module]) -> dict[str, set[str]]:
    """Return what each folder imports of the others.

    A file that lies in a room itself counts as a folder of its own.
    """

    def folder_of(module: Module) -> str:
        in_room = module.folder == module.room
        return str(module.path) if in_room else module.folder

    found: dict[str, set[str]] = {}
    for module, used in imports(among).items():
        here = found.setdefault(folder_of(module), set())
        here |= {folder_of(other) for other in used} - {folder_of(module)}
    return found
