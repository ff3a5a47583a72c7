"""A set as it is kept: parts of triangles in metres, Y up, in one Parquet file.

A row a part: its name, whether it is wild, its points, the triangles of them, and a
flag a triangle. Points are 32-bit floats from the middle of the set, a hundredth of a
millimetre in a hall. The digest is of the values, so it is the same whatever the
version that wrote the file.
"""

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from ...solver.arrays import FloatArray, IntArray
from ...solver.sight.set_mesh import SetMesh
from .faults import refuse_set
from .surfaces import surface_flags

SET_SCHEMA = "carrellata.set/1"
BAKED_SUFFIX = ".parquet"
MAX_TRIANGLES = 500_000
MAX_PARTS = 20_000
MAX_BYTES = 256 * 2**20
SMALLEST_M, LARGEST_M = 0.5, 5_000.0
"""Of a whole set; what is smaller or larger has the wrong units."""

_KEY = b"carrellata"
_COLUMNS = pa.schema(
    [
        pa.field("part", pa.string(), nullable=False),
        pa.field("wild", pa.bool_(), nullable=False),
        pa.field("points", pa.list_(pa.float32()), nullable=False),
        pa.field("corners", pa.list_(pa.int32()), nullable=False),
        pa.field("flags", pa.list_(pa.uint8()), nullable=False),
    ]
)


class ScenePart(NamedTuple):
    """A prim or node of a scene: its name, points (n, 3) [m] Y up, triangles (t, 3)."""

    name: str
    points: FloatArray
    triangles: IntArray
    wild: bool = False


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class BakedSet:
    """A set as it is read from its file.

    Attributes:
        mesh: as the solver has it.
        digest: of all of it, SHA-256 in hexadecimal.
        data: the file's bytes.
    """

    mesh: SetMesh
    digest: str
    data: bytes


def bake(parts: Sequence[ScenePart], *, thin_m: float, path: str, label: str) -> bytes:
    """Return the file of a set.

    Args:
        parts: of the scene, names unique.
        thin_m: what is no thicker in two directions hides nobody [m].
        path: the field of the job that names the scene.
        label: how the scene is called in a fault.

    Raises:
        SetError: there is nothing in it, too much of it, or its size is no set's.
    """
    n = sum(len(part.triangles) for part in parts)
    if n == 0:
        refuse_set(path, f"{label} has no triangle that is seen")
    if n > MAX_TRIANGLES:
        refuse_set(path, too_many(label, n))
    if len(parts) > MAX_PARTS:
        refuse_set(path, f"{label} has {len(parts)} meshes, limit {MAX_PARTS}")
    used = np.concatenate([part.points[np.unique(part.triangles)] for part in parts])
    low, high = used.min(axis=0), used.max(axis=0)
    size = float((high - low).max())
    if not SMALLEST_M <= size <= LARGEST_M:
        message = (
            f"{label} is {size:.3g} m across, a set has {SMALLEST_M:g} to "
            f"{LARGEST_M:g} m: check its units"
        )
        refuse_set(path, message)
    middle = np.round((low + high) / 2)
    rows = []
    for part in parts:
        points, triangles = _welded(
            (part.points - middle).astype("<f4"), part.triangles
        )
        if not len(triangles):
            continue
        flags = surface_flags(points.astype(np.float64), triangles, thin_m)
        rows.append((part.name, part.wild, points, triangles, flags))
    table = pa.table(
        [
            pa.array([row[0] for row in rows], pa.string()),
            pa.array([row[1] for row in rows], pa.bool_()),
            pa.array([row[2].ravel() for row in rows], _COLUMNS.field(2).type),
            pa.array([row[3].ravel() for row in rows], _COLUMNS.field(3).type),
            pa.array([row[4] for row in rows], _COLUMNS.field(4).type),
        ],
        schema=_COLUMNS.with_metadata(
            {_KEY: json.dumps({"schema": SET_SCHEMA, "middle_m": middle.tolist()})}
        ),
    )
    sink = pa.BufferOutputStream()
    pq.write_table(table, sink, compression="zstd", use_dictionary=False)
    data: bytes = sink.getvalue().to_pybytes()
    return data


def too_many(label: str, n: int) -> str:
    """Return what is said of a scene with too many triangles."""
    return (
        f"{label} has {n} triangles, limit {MAX_TRIANGLES}: name fewer prims, or a "
        "simpler version of it"
    )


@lru_cache(maxsize=4)
def read_baked(data: bytes, path: str, label: str) -> BakedSet:
    """Return the set that a file's bytes hold; the last few are kept.

    Raises:
        SetError: they hold none, or one that is damaged.
    """
    try:
        table = pq.read_table(pa.BufferReader(data))
        about = json.loads((table.schema.metadata or {}).get(_KEY, b"{}"))
        known = about.get("schema") == SET_SCHEMA and table.schema.equals(_COLUMNS)
        mesh = _mesh(table, np.array(about["middle_m"])) if known else None
    except (pa.ArrowException, KeyError, TypeError, ValueError, OSError):
        mesh = None
    if mesh is None:
        message = f'{label} is no baked set; make one by "carrellata bake-set"'
        refuse_set(path, message)
    return BakedSet(mesh=mesh, digest=_digest(mesh), data=data)


def _mesh(table: pa.Table, middle: FloatArray) -> SetMesh | None:
    """Return the mesh of a table, None where its numbers make none."""
    names = tuple(table["part"].to_pylist())
    corners, part, flags = [], [], []
    total = 0
    for k in range(len(names)):
        points, triangles, own = (
            table[name][k].values.to_numpy(zero_copy_only=False)
            for name in ("points", "corners", "flags")
        )
        points = points.astype(np.float64).reshape(-1, 3) + middle
        triangles = triangles.reshape(-1, 3)
        total += len(triangles)
        sound = np.isfinite(points).all() and len(own) == len(triangles)
        if not sound or total > MAX_TRIANGLES or len(names) > MAX_PARTS:
            return None
        if triangles.min() < 0 or triangles.max() >= len(points):
            return None
        corners.append(points[triangles])
        part.append(np.full(len(triangles), k))
        flags.append(own)
    if not corners or len(set(names)) != len(names):
        return None
    return SetMesh(
        names=names,
        wild=np.array(table["wild"].to_pylist(), dtype=np.bool_),
        corners=np.concatenate(corners),
        part=np.concatenate(part),
        flags=np.concatenate(flags),
    )


def _digest(mesh: SetMesh) -> str:
    found = hashlib.sha256("\n".join(mesh.names).encode())
    for values in (mesh.wild, mesh.corners, mesh.part, mesh.flags):
        found.update(np.ascontiguousarray(values).tobytes())
    return found.hexdigest()


def _welded(points: FloatArray, triangles: IntArray) -> tuple[FloatArray, IntArray]:
    """Return points that are there once each, and the triangles that have an area."""
    used, back = np.unique(points + 0.0, axis=0, return_inverse=True)
    welded = back.reshape(-1)[triangles]
    edges = np.roll(welded, -1, axis=1) != welded
    welded = welded[edges.all(axis=1)]
    corners = used[welded].astype(np.float64)
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    welded = welded[(normal != 0.0).any(axis=1)]
    kept, back = np.unique(welded, return_inverse=True)
    return used[kept], back.reshape(welded.shape)
