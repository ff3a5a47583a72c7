"""Which sources the machine code of a kernel depends on."""

import ast
import importlib
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from house.tree import Module, imports, modules

from carrellata.solver.compiled import kernel as compiled

SOLVER = Path(compiled.__file__).parents[1]
ROOT = Path(__file__).resolve().parents[3]


def kernels(module: Module) -> Iterator[str]:
    """Names of the functions that a module compiles."""
    for node in module.tree.body:
        if isinstance(node, ast.FunctionDef) and any(
            ast.unparse(one) == "kernel" for one in node.decorator_list
        ):
            yield node.name


@pytest.fixture(scope="module")
def arrows() -> dict[Module, set[Module]]:
    """What each module of the solver imports."""
    return imports(modules(ROOT, "solver"))


def closure(module: Module, arrows: dict[Module, set[Module]]) -> set[str]:
    """Return the files of a module and of all that it imports, directly or not."""
    found, waiting = {module}, [module]
    while waiting:
        new = arrows[waiting.pop()] - found
        found |= new
        waiting += new
    return {str(one.path) for one in found}


def test_machine_code_depends_on_all_that_its_module_imports(
    arrows: dict[Module, set[Module]],
) -> None:
    some = [module for module in arrows if any(kernels(module))]
    assert len(some) > 20
    for module in some:
        sources = compiled.sources_of(SOLVER.parent / module.path)
        assert all(source.is_file() for source in sources)
        found = {source.relative_to(SOLVER.parent).as_posix() for source in sources}
        assert found == closure(module, arrows), module.path


def test_a_kernel_calls_kernels_of_the_sources_it_depends_on(
    arrows: dict[Module, set[Module]],
) -> None:
    for module in arrows:
        name = ".".join(("carrellata", *module.names))
        if not any(kernels(module)):
            continue
        sources = set(compiled.sources_of(SOLVER.parent / module.path))
        loaded = vars(importlib.import_module(name)).values()
        found = [one for one in loaded if isinstance(one, compiled.Kernel)]
        own = {one.__name__ for one in found if one.__module__ == name}
        assert own == set(kernels(module)), module.path
        assert {Path(one.__wrapped__.__code__.co_filename) for one in found} <= sources


def test_machine_code_does_not_depend_on_what_is_not_imported() -> None:
    sources = compiled.sources_of(SOLVER / "crew/plan.py")
    assert not {"measure", "take", "shake", "grip"} & {path.stem for path in sources}


def test_every_import_between_solver_modules_is_of_the_form_that_is_followed() -> None:
    for path in SOLVER.rglob("*.py"):
        text = path.read_text()
        assert not re.search(r"^\s*from \.+ import|^\s*import carrellata", text, re.M)
        assert not re.search(r"^\s*from carrellata\.solver", text, re.M)
