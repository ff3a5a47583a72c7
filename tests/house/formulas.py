"""Where formulas stand that should stand once: by the shape of their expressions.

A projection divides by a distance times a tangent of half an angle of view.
An arc multiplies a radius by what the same function made of a sine and a cosine.
Both are read from names, so what is found is a place to look at, not a proof.
"""

import ast
import re
from collections.abc import Iterable, Iterator

from .tree import Module

_TANGENT = re.compile(r"^(tx|ty|tan_[uv]|(half_)?tangents?)$")
_RADIUS = re.compile(r"^(radius|radius_m|radii)$")
_CIRCULAR = {"sin", "cos"}


def projections(among: Iterable[Module]) -> list[str]:
    """Return the functions that bring a point to the frame."""
    return sorted(
        f"{path}:{node.name}"
        for path, node in _functions(among)
        if any(_is_projection(part) for part in ast.walk(node))
    )


def arcs(among: Iterable[Module]) -> list[str]:
    """Return the functions that turn an angle on a circle to a place or back."""
    return sorted(
        f"{path}:{node.name}" for path, node in _functions(among) if _is_arc(node)
    )


def _functions(among: Iterable[Module]) -> Iterator[tuple[str, ast.FunctionDef]]:
    for module in among:
        for node in ast.walk(module.tree):
            if isinstance(node, ast.FunctionDef):
                yield str(module.path), node


def _is_projection(node: ast.AST) -> bool:
    return (
        isinstance(node, ast.BinOp)
        and isinstance(node.op, ast.Div)
        and isinstance(node.right, ast.BinOp)
        and isinstance(node.right.op, ast.Mult)
        and _mentions(node.right, _TANGENT)
        # Sizes divide by a whole frame, twice the tangent.
        and not any(isinstance(part, ast.Constant) for part in _factors(node.right))
        and not _mentions(node.left, _TANGENT)
    )


def _factors(node: ast.AST) -> list[ast.AST]:
    if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Mult):
        return [*_factors(node.left), *_factors(node.right)]
    return [node]


def _is_arc(function: ast.FunctionDef) -> bool:
    if not _called(function) >= _CIRCULAR:
        return False
    turned = _made_of_sines(function)
    return any(
        isinstance(node, ast.BinOp)
        and isinstance(node.op, ast.Mult)
        and _mentions(node, _RADIUS)
        and (_called(node) & _CIRCULAR or _names(node) & turned)
        for node in ast.walk(function)
    )


def _made_of_sines(function: ast.FunctionDef) -> set[str]:
    """Return local names whose value was assigned from a sine or a cosine."""
    made: set[str] = set()
    for node in ast.walk(function):
        if isinstance(node, ast.Assign) and _called(node.value) & _CIRCULAR:
            made |= {
                part.id
                for target in node.targets
                for part in ast.walk(target)
                if isinstance(part, ast.Name)
            }
    return made


def _called(tree: ast.AST) -> set[str]:
    return {
        ast.unparse(node.func).rpartition(".")[2]
        for node in ast.walk(tree)
        if isinstance(node, ast.Call)
    }


def _names(tree: ast.AST) -> set[str]:
    return {node.id for node in ast.walk(tree) if isinstance(node, ast.Name)}


def _mentions(tree: ast.AST, pattern: re.Pattern[str]) -> bool:
    """Whether a name, an attribute or a key in the tree matches."""
    for node in ast.walk(tree):
        word = (
            node.id
            if isinstance(node, ast.Name)
            else node.attr
            if isinstance(node, ast.Attribute)
            else node.value
            if isinstance(node, ast.Constant) and isinstance(node.value, str)
            else ""
        )
        if pattern.match(word):
            return True
    return False
