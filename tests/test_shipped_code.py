"""A wheel that brings machine code: installed, its first solve compiles nothing."""

import os
import subprocess
import sys
import zipfile
from hashlib import sha256
from pathlib import Path

import pytest
from test_packaging import ROOT, build

from carrellata.jobs.run.ship import ship
from carrellata.jobs.run.warm_all import warm_all

STEPS = "from carrellata.jobs.run.warm_live import step; step()"
SOLVES = "import sys; from carrellata.worker.cli import main; sys.exit(main())"


def digests(folder: Path) -> dict[str, str]:
    """Digests of all files of machine code in a folder, by name."""
    return {
        file.relative_to(folder).as_posix(): sha256(file.read_bytes()).hexdigest()
        for file in sorted(folder.rglob("*.nb?"))
    }


@pytest.mark.slow
def test_first_solve_and_live_crew_of_a_wheel_compile_nothing(
    tmp_path: Path,
) -> None:
    warm_all()
    wheel = build(ROOT, "wheel", tmp_path)
    n_files = ship(wheel)
    assert n_files > 50
    assert ship(wheel) == n_files  # in place of those that are there
    site, kept = tmp_path / "site", tmp_path / "kept"
    pip = [sys.executable, "-m", "pip", "--disable-pip-version-check", "-qq"]
    subprocess.run(
        [*pip, "install", "--no-deps", "--no-index", "--target", str(site), str(wheel)],
        check=True,
        timeout=300,
    )
    shipped = digests(site / "carrellata/solver/compiled/shipped")
    assert len(shipped) == n_files
    job = site / "carrellata/jobs/examples/ferry_dash/choose.toml"
    environment = os.environ | {"PYTHONPATH": str(site), "NUMBA_CACHE_DIR": str(kept)}
    subprocess.run(
        [sys.executable, "-c", SOLVES, "solve", str(job), "-o", str(tmp_path / "out")],
        env=environment,
        cwd=tmp_path,
        stdout=subprocess.DEVNULL,
        check=True,
        timeout=600,
    )
    used = digests(kept)
    assert used
    subprocess.run(
        [sys.executable, "-c", STEPS], env=environment, cwd=tmp_path, check=True
    )
    stepped = digests(kept)
    assert any("step_crew" in name for name in stepped.keys() - used)
    used |= stepped
    # What was compiled would be another file, or another list of them.
    assert used.items() <= shipped.items()


def test_a_wheel_without_machine_code_says_nothing_of_it(tmp_path: Path) -> None:
    with zipfile.ZipFile(build(ROOT, "wheel", tmp_path)) as wheel:
        assert not [name for name in wheel.namelist() if "shipped" in name]
