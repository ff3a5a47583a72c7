"""Names of classes, and parameters and lengths of functions."""

import ast
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from .tree import Module

MOST_PARAMETERS = 8


@dataclass(frozen=True)
class Function:
    """A function or method.

    Args:
        path: its file.
        name: its name, after those of the classes and functions around it.
        n_parameters: `self` and `cls` left out, `*args` and `**kwargs` one each.
        n_lines: of its body, after the docstring.
        is_command: whether its parameters are the options of a command line.
    """

    path: str
    name: str
    n_parameters: int
    n_lines: int
    is_command: bool

    @property
    def place(self) -> str:
        return f"{self.path}:{self.name}"


def class_places(among: Iterable[Module]) -> dict[str, list[str]]:
    """Return the files that define each name of a class, once a definition."""
    places = defaultdict(list)
    for module in among:
        for node in ast.walk(module.tree):
            if isinstance(node, ast.ClassDef):
                places[node.name].append(str(module.path))
    return places


def twice_defined(among: Iterable[Module]) -> dict[str, list[str]]:
    """Return the names of classes that are defined more than once, with the files."""
    return {
        name: places
        for name, places in sorted(class_places(among).items())
        if len(places) > 1
    }


def functions(among: Iterable[Module]) -> Iterator[Function]:
    """Functions and methods, those inside others too."""
    for module in among:
        for node, name in _definitions(module.tree, ""):
            yield Function(
                path=str(module.path),
                name=name,
                n_parameters=_n_parameters(node),
                n_lines=_n_body_lines(node),
                is_command=_is_command(node),
            )


def wide_functions(among: Iterable[Module]) -> list[Function]:
    """Return the functions over the limit of parameters, the widest first.

    Those of commands are not meant: each of their parameters is an option.
    """
    wide = [
        each
        for each in functions(among)
        if each.n_parameters > MOST_PARAMETERS and not each.is_command
    ]
    return sorted(wide, key=lambda each: -each.n_parameters)


def _definitions(
    tree: ast.AST, outer: str
) -> Iterator[tuple[ast.FunctionDef | ast.AsyncFunctionDef, str]]:
    for node in ast.iter_child_nodes(tree):
        name = outer
        if isinstance(node, ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef):
            name = f"{outer}.{node.name}".lstrip(".")
            if not isinstance(node, ast.ClassDef):
                yield node, name
        yield from _definitions(node, name)


def _parameters(node: ast.FunctionDef | ast.AsyncFunctionDef) -> list[ast.arg]:
    spec = node.args
    starred = [each for each in (spec.vararg, spec.kwarg) if each is not None]
    return [*spec.posonlyargs, *spec.args, *spec.kwonlyargs, *starred]


def _n_parameters(node: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    names = [each.arg for each in _parameters(node)]
    return len(names) - (bool(names) and names[0] in ("self", "cls"))


def _is_command(node: ast.FunctionDef | ast.AsyncFunctionDef) -> bool:
    return any(
        each.annotation is not None and "typer." in ast.unparse(each.annotation)
        for each in _parameters(node)
    )


def _n_body_lines(node: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    body = node.body[1:] if ast.get_docstring(node) is not None else node.body
    if not body:
        return 0
    return (node.end_lineno or body[0].lineno) - body[0].lineno + 1
