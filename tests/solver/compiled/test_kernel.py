"""Which sources the machine code of a kernel depends on."""

import re
from pathlib import Path

from carrellata.solver.compiled import kernel as compiled

SOLVER = Path(compiled.__file__).parents[1]


def names(module: str) -> set[str]:
    return {path.stem for path in compiled.sources_of(SOLVER / f"{module}.py")}


def test_machine_code_depends_on_callees_of_callees_and_on_nothing_else() -> None:
    assert {"grip", "decide", "plan", "planner", "rig", "kernel"} <= names("crew/grip")
    assert not {"measure", "take", "shake", "grip"} & names("crew/plan")


def test_every_import_between_solver_modules_is_of_the_form_that_is_followed() -> None:
    for path in SOLVER.rglob("*.py"):
        text = path.read_text()
        assert not re.search(r"^\s*from \.+ import|^\s*import carrellata", text, re.M)
        assert not re.search(r"^\s*from carrellata\.solver", text, re.M)
