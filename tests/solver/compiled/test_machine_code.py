"""Machine code that is taken from the disk."""

from pathlib import Path

import numba
import pytest
from fresh_process import told
from numba.core.caching import FunctionCache

from carrellata.solver.compiled import machine_code
from carrellata.solver.rigs.rig import rig_place

RIG = (
    "import sys, numpy as np\n"
    "from carrellata.solver.rigs import arc, rig\n"
    "shape = arc.arc(np.zeros(3), radius=3.0, start=0.5, sweep=1.0).shape\n"
    "place = rig.rig_place(shape, 1.25)\n"
)
READY = "print({'numba.np.arraymath', 'numba.cpython.unicode'} <= set(sys.modules))\n"
LINKED = (
    "import numba\n"
    "@numba.njit\n"
    "def twice(shape, s):\n"
    "    return 2 * rig.rig_place(shape, s)[0]\n"
    "print(twice(shape, 1.25) == 2 * place[0])\n"
)


def test_the_compiler_only_gets_ready_where_something_is_compiled(
    tmp_path: Path,
) -> None:
    program = RIG + "print(place)\n" + READY
    compiled, taken = (told(program, kernels=tmp_path) for _ in range(2))
    assert compiled[1:] == ["True"]
    assert taken[1:] == ["False"]
    assert compiled[0] == taken[0]


def test_code_from_the_disk_goes_into_what_is_compiled_after_it(tmp_path: Path) -> None:
    assert told(RIG + LINKED, kernels=tmp_path) == ["True"]
    assert told(RIG + LINKED + READY, kernels=tmp_path) == ["True", "True"]


def test_the_installed_compiler_is_the_one_that_was_looked_at() -> None:
    """Where this fails, compare `machine_code` with the new one, then raise `KNOWN`."""
    assert numba.version_info.short == machine_code.KNOWN


def test_with_another_compiler_its_own_way_is_taken(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    function = rig_place.__wrapped__
    made = machine_code.machine_code(function, for_python=True)
    assert type(made) is not FunctionCache
    monkeypatch.setattr(machine_code, "KNOWN", (99, 1))
    made = machine_code.machine_code(function, for_python=True)
    assert type(made) is FunctionCache
