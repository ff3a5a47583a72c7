"""Our rays beside those of ray libraries: `python -m bench.rays PYTHON`.

PYTHON is the interpreter of an environment with numpy, embreex and libigl, which this
project does not need: `pip install embreex libigl`. All get the same 2 000 lines in the
hall of 100 000 triangles, on one thread, in turns, and time is the processor's; what
they meet is compared. Embree is given the length of each line and works in 32 bits.
"""

import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median
from typing import Any

import numpy as np

from carrellata.solver.arrays import FloatArray, IntArray
from carrellata.solver.sight.set_mesh import SetMesh

from .halls import SIZE_M, hall

TRIANGLES, LINES, ROUNDS = 100_000, 2_000, 7
CALLS = 5
ONE_THREAD = {"OMP_NUM_THREADS": "1", "IGL_NUM_THREADS": "1"}

PEER = """
import json, sys, time
from importlib.metadata import version
import numpy as np

name, path, calls = sys.argv[1], sys.argv[2], int(sys.argv[3])
held = np.load(path)
corners, starts, ways = held["corners"], held["starts"], held["ends"] - held["starts"]
began = time.process_time()
if name == "embreex":
    from embreex.mesh_construction import TriangleMesh
    from embreex.rtcore_scene import EmbreeScene
    scene = EmbreeScene()
    mesh = TriangleMesh(scene, corners.astype(np.float32))
    one, two = starts.astype(np.float32), ways.astype(np.float32)
    reach = np.ones(len(one), dtype=np.float32)
    def first():
        return np.asarray(scene.run(one, two, reach.copy(), query="INTERSECT"))
else:
    import igl
    points = corners.reshape(-1, 3)
    faces = np.arange(len(points)).reshape(-1, 3)
    tree = igl.AABB()
    tree.init(points, faces)
    def first():
        met, at, _ = tree.intersect_ray_first(points, faces, starts, ways)
        return np.where(np.asarray(at) <= 1.0, met, -1)
found = first()
built = time.process_time() - began
began = time.process_time()
for _ in range(calls):
    first()
taken = (time.process_time() - began) / calls
told = {"version": version({"igl": "libigl"}.get(name, name)), "built": built}
print(json.dumps({**told, "taken": taken, "found": found.tolist()}))
"""


def main(python: str) -> int:
    """Print a line for each."""
    rng = np.random.default_rng(11)
    half = np.array(SIZE_M) / 2
    starts = rng.uniform(-0.95, 0.95, (LINES, 3)) * half + [0.0, half[1], 0.0]
    ends = rng.uniform(-0.95, 0.95, (LINES, 3)) * half + [0.0, half[1], 0.0]
    mesh = hall(TRIANGLES)
    began = time.process_time()
    mesh.met(starts, ends)
    built = time.process_time() - began
    ours = _triangle_met(mesh, starts, ends)
    times: dict[str, list[float]] = {"ours": [], "embreex": [], "igl": []}
    told: dict[str, dict[str, Any]] = {}
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "lines.npz"
        np.savez(path, corners=mesh.corners, starts=starts, ends=ends)
        for _ in range(ROUNDS):
            began = time.process_time()
            for _ in range(CALLS):
                mesh.met(starts, ends)
            times["ours"].append((time.process_time() - began) / CALLS)
            for name in ("embreex", "igl"):
                done = subprocess.run(
                    [python, "-c", PEER, name, str(path), str(CALLS)],
                    stdout=subprocess.PIPE,
                    check=True,
                    env=os.environ | ONE_THREAD,
                )
                told[name] = json.loads(done.stdout.splitlines()[-1])
                times[name].append(told[name]["taken"])
    print(f"{LINES} lines, {len(mesh.corners)} triangles, {(ours >= 0).sum()} meet one")
    for name, taken in times.items():
        line = f"{name:8s} {median(taken) * 1e3:8.2f} ms"
        if name == "ours":
            print(f"{line}  first call with its tree {built:.2f} s")
            continue
        other = told[name]
        same = (np.array(other["found"]) == ours).sum()
        line += f"  first call {other['built']:.2f} s, version {other['version']}"
        print(f"{line}, meets the same triangle on {same} lines")
    return 0


def _triangle_met(mesh: SetMesh, starts: FloatArray, ends: FloatArray) -> IntArray:
    """Return the triangle that each line meets first, -1 for none, (n,)."""
    alone = SetMesh(
        names=tuple(map(str, range(len(mesh.corners)))),
        wild=np.zeros(len(mesh.corners), dtype=np.bool_),
        corners=mesh.corners,
        part=np.arange(len(mesh.corners)),
        flags=mesh.flags,
    )
    return alone.met(starts, ends)


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
