"""The same takes where the system has no variants for today's processors."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

EXAMPLE = Path(__file__).parents[3] / "jobs/examples/ferry_dash/job.toml"
MASKED = "glibc.cpu.hwcaps=-AVX2,-FMA,-FMA4,-AVX512F"
PROGRAM = """
import ctypes, sys
from hashlib import sha256
from pathlib import Path
from carrellata.jobs.job.load import load_job
from carrellata.jobs.run.make_take import solve_prepared
from carrellata.jobs.run.shots import prepare
from carrellata.jobs.takes.keys import keys_of

def digest(value):
    return sha256(repr(value).encode()).hexdigest()

path = Path(sys.argv[1])
job = load_job(path)
for spec in job.shots:
    prepared = prepare(job, spec, path.parent)
    table = solve_prepared(job, prepared, keys_of(job, spec, prepared.inputs))
    print(spec.name, digest(table.to_pydict()), digest(table.schema.metadata))
sine = ctypes.CDLL("libm.so.6").sin
sine.argtypes, sine.restype = [ctypes.c_double], ctypes.c_double
print(digest([sine(k / 97) for k in range(40_000)]))
"""


def said(tunables: str | None) -> list[str]:
    environment = dict(os.environ)
    if tunables is not None:
        environment["GLIBC_TUNABLES"] = tunables
    ended = subprocess.run(
        [sys.executable, "-c", PROGRAM, str(EXAMPLE)],
        env=environment,
        capture_output=True,
        text=True,
        check=True,
        timeout=300,
    )
    return ended.stdout.splitlines()


@pytest.mark.skipif(sys.platform != "linux", reason="tells the system's library")
def test_takes_are_the_same_whatever_the_system_picks() -> None:
    *takes, system = said(None)
    *masked, other = said(MASKED)
    if system == other:
        pytest.skip("the system has one variant of its functions here")
    assert len(takes) == 12
    assert masked == takes
