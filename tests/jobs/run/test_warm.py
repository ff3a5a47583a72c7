"""What is compiled before work arrives."""

from pathlib import Path

import pytest
from fresh_process import told
from walks import save_job, walking_job, walking_shot

from carrellata.jobs.run.warm import warm_up

PROGRAM = """
import sys
from pathlib import Path
from carrellata.jobs.run.local import solve_job
from carrellata.jobs.run.warm import is_warm, warm_up, work_beside
from carrellata.solver.compiled.kernel import Kernel

def made():
    modules = [one for name, one in sys.modules.items() if "carrellata." in name]
    kernels = {value for one in modules for value in vars(one).values()
               if isinstance(value, Kernel) and "compiled" in vars(value)}
    return {(one.__module__, one.__name__, signature)
            for one in kernels for signature in one.compiled.signatures}

warm_up(choosing=True)
assert is_warm(choosing=False) and is_warm(choosing=True)
work_beside(True)  # what the other process of a first run compiles
warmed = made()
rows = solve_job(Path(sys.argv[1]), Path(sys.argv[2]), workers=1).rows
print([row.status for row in rows])
print(sorted(name for _, name, _ in made() - warmed))
print(len(warmed) > 20)
"""


@pytest.mark.parametrize(
    "empty", [False, pytest.param(True, marks=pytest.mark.long)], ids=["kept", "empty"]
)
@pytest.mark.slow
def test_warmed_process_needs_no_other_kernel_when_it_solves(
    tmp_path: Path, empty: bool
) -> None:
    """Open and fixed shots, one with two people, cues and a stage.

    Whether a kernel's code for some types was kept or is compiled, only those that the
    warm-up called are there when it ends.
    """
    opened = {"rig": {"kind": "choose"}, "lens_mm": "choose"}
    stage = {
        "floor": [[-9000, -9000], [9000, -9000], [9000, 9000], [-9000, 9000]],
        "keep_outs": [{"name": "box", "from": [900, 900, 0], "to": [950, 950, 100]}],
    }
    job = save_job(
        tmp_path,
        walking_job(
            walking_shot("010", shake="shoulder"),
            walking_shot("020", rig={"kind": "sticks", "at": [0, 0, 150]}),
            walking_shot("030", stage=stage, **opened),
            walking_shot("040", framing={"angle": "above"}, **opened),
        ),
    )
    kernels = tmp_path / "kernels" if empty else None
    assert told(PROGRAM, job, tmp_path / "out", kernels=kernels) == [
        str(["solved"] * 4),
        "[]",
        "True",
    ]


def test_solving_and_checking_given_setups_load_nothing_that_chooses(
    tmp_path: Path,
) -> None:
    warm_up()
    job = save_job(tmp_path, walking_job(walking_shot("010")))
    program = (
        "import sys\n"
        "from carrellata.worker.cli import main\n"
        "assert main(sys.argv[1:]) == 0\n"
        "chooses = ('solver.setups.search', 'solver.cuts.sequence', 'jobs.asks')\n"
        "print({f'carrellata.{name}' for name in chooses} & set(sys.modules))\n"
    )
    for words in (["solve", job, "-o", tmp_path / "out"], ["check", job]):
        assert told(program, *words)[-1] == "set()"


def test_loading_the_solver_loads_no_compiler() -> None:
    program = (
        "import sys\n"
        "import carrellata.jobs.run.local\n"
        "heavy = {'numba', 'llvmlite', 'scipy', 'cvxpy', 'jinja2'}\n"
        "print(sorted(heavy & set(sys.modules)))\n"
    )
    assert told(program) == ["[]"]


def test_kernel_cache_is_named_before_the_compiler_is_loaded(tmp_path: Path) -> None:
    program = (
        "import sys\n"
        "from carrellata.jobs.run.warm import is_warm\n"
        "print(is_warm(choosing=False), 'numba' in sys.modules)\n"
    )
    assert told(program, kernels=tmp_path) == ["False False"]
