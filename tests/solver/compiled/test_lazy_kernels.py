"""Kernels that are compiled when they are first called."""

from pathlib import Path

import numba
import numpy as np
from fresh_process import told

from carrellata.solver.compiled.kernel import Kernel, kernel
from carrellata.solver.rigs.arc import arc
from carrellata.solver.rigs.rig import rig_place
from carrellata.solver.rigs.sticks import sticks
from carrellata.solver.rigs.track import track


def test_a_kernel_called_by_another_compiler_s_function_is_the_same_code() -> None:
    rig = track(np.array([0.0, 1.0, 2.0]), np.array([3.0, 1.5, 4.0]))

    @numba.njit
    def through(shape, s):
        return rig_place(shape, s)

    assert isinstance(rig_place, Kernel)
    assert through(rig.shape, 1.25) == rig_place(rig.shape, 1.25)


def test_target_is_a_processor_that_every_machine_is_at_least() -> None:
    # In a process of its own: a change of the environment makes the compiler forget.
    program = (
        "import numba, numpy as np\n"
        "from carrellata.solver.rigs.rig import rig_place\n"
        "from carrellata.solver.rigs.sticks import sticks\n"
        "rig_place(sticks(np.zeros(3)).shape, 0.0)\n"
        "print(numba.config.CPU_NAME, [numba.config.CPU_FEATURES])\n"
    )
    assert told(program) == ["generic ['']"]


def test_what_only_kernels_call_is_made_without_a_part_for_python(
    tmp_path: Path,
) -> None:
    program = (
        "import sys, numpy as np\n"
        "from carrellata.solver.rigs import arc, rig\n"
        "shape = arc.arc(np.zeros(3), radius=3.0, start=0.0, sweep=1.0).shape\n"
        "s = rig.abreast_s(shape, 1.0, 0.0, 0.5, 1.0)\n"
        "made = lambda one: sorted({'compiled', 'linked'} & set(vars(one)))\n"
        "print(made(rig.abreast_s), made(arc.arc_s), 'scipy.linalg' in sys.modules)\n"
        "print(arc.arc_s(shape, shape.start, 0.0), made(arc.arc_s))\n"
    )
    assert told(program, kernels=tmp_path) == [
        "['compiled'] ['linked'] False",
        "0.0 ['compiled', 'linked']",
    ]


def test_what_python_calls_already_is_not_made_again_for_kernels(
    tmp_path: Path,
) -> None:
    called = "print(arc.arc_s(shape, shape.start, 0.0))\n"
    asked = (
        "rig.abreast_s(shape, 1.0, 0.0, 0.5, 1.0)\nprint('linked' in vars(arc.arc_s))\n"
    )
    shape = (
        "import numpy as np\n"
        "from carrellata.solver.rigs import arc, rig\n"
        "shape = arc.arc(np.zeros(3), radius=3.0, start=0.0, sweep=1.0).shape\n"
    )
    for program in (called + asked, asked):  # in this process, and from disk
        for source in tmp_path.rglob("rig.abreast_s-*"):
            source.unlink()
        assert told(shape + program, kernels=tmp_path)[-1] == "False"


def test_a_kernel_keeps_its_name_and_documentation() -> None:
    def twice(x):
        """Double."""
        return 2 * x

    made = kernel(twice)
    assert made.__name__ == "twice"
    assert made.__doc__ == "Double."


def test_places_on_a_rig_are_those_of_the_kernel_to_the_bit() -> None:
    random = np.random.default_rng(3)
    for k in range(300):
        rig = (
            sticks(random.normal(size=3)),
            track(random.normal(size=3), random.normal(size=3)),
            arc(
                random.normal(size=3),
                radius=random.uniform(0.5, 20.0),
                start=random.uniform(-7, 7),
                sweep=random.choice([-4.0, 0.7]),
            ),
        )[k % 3]
        along = random.uniform(0, rig.length_m, 20)
        places = np.array([rig_place(rig.shape, s) for s in along.tolist()])
        assert places.tobytes() == rig.places(along).tobytes()
        assert np.ptp(places, axis=0).any() == (k % 3 > 0)


def test_the_target_holds_where_the_compiler_was_loaded_before_a_change_of_settings(
    tmp_path: Path,
) -> None:
    program = (
        "import numba, os, pickle, sys\n"
        "from pathlib import Path\n"
        "os.environ['CHANGED'] = '1'\n"
        "from carrellata.solver.elementary.length import hypot\n"
        "os.environ['CHANGED'] = '2'\n"
        "hypot(3.0, 4.0)\n"
        "(index,) = Path(sys.argv[1]).rglob('length.hypot-*.nbi')\n"
        "with index.open('rb') as file:\n"
        "    pickle.load(file)\n"
        "    (key,) = pickle.loads(file.read())[1]\n"
        "print(key[1][1:])\n"
    )
    assert told(program, tmp_path, kernels=tmp_path) == ["('generic', '')"]
