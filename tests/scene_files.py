"""Scenes with known shapes, as OpenUSD and glTF files, and jobs that stand in them."""

import base64
import json
from pathlib import Path
from typing import Any

import numpy as np

ROOM = {
    "floor": ((-6.0, -0.2, -5.0), (6.0, 0.0, 5.0)),
    "north": ((-6.0, 0.0, -5.2), (6.0, 3.0, -5.0)),
    "pillar": ((-0.3, 0.0, -0.3), (0.3, 3.0, 0.3)),
}
"""Boxes in metres, Y up."""

_QUADS = (
    (0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5)
)  # fmt: skip


def corners_of(box: tuple[tuple[float, ...], tuple[float, ...]]) -> np.ndarray:
    """Return the eight corners of a box, (8, 3)."""
    ends = np.array(box)
    return np.array(
        [[ends[k & 1, 0], ends[k >> 1 & 1, 1], ends[k >> 2, 2]] for k in range(8)]
    )


def new_scene(place: Path, *, up: str = "Y", metres: float | None = 1.0) -> Any:
    """Return an empty stage that is saved at a place."""
    from pxr import Usd, UsdGeom

    stage = Usd.Stage.CreateNew(str(place))
    UsdGeom.SetStageUpAxis(stage, up)
    if metres is not None:
        UsdGeom.SetStageMetersPerUnit(stage, metres)
    UsdGeom.Xform.Define(stage, "/World")
    return stage


def add_mesh(stage: Any, path: str, points: np.ndarray, quads: Any = _QUADS) -> Any:
    """Add a mesh of faces to a stage."""
    from pxr import UsdGeom

    mesh = UsdGeom.Mesh.Define(stage, path)
    mesh.CreatePointsAttr(points.tolist())
    mesh.CreateFaceVertexCountsAttr([len(face) for face in quads])
    mesh.CreateFaceVertexIndicesAttr([k for face in quads for k in face])
    return mesh


def write_room(place: Path, *, up: str = "Y", metres: float | None = 1.0) -> Path:
    """Write the room of `ROOM` below /World/set in any axes and units."""
    stage = new_scene(place, up=up, metres=metres)
    for name, box in ROOM.items():
        points = corners_of(box) / (metres or 1.0)
        if up == "Z":
            points = points[:, [0, 2, 1]] * [1.0, -1.0, 1.0]
        add_mesh(stage, f"/World/set/{name}", points)
    stage.Save()
    return place


def write_gltf(place: Path, boxes: dict[str, Any], **of_nodes: Any) -> Path:
    """Write boxes as nodes of a glTF file; `of_nodes` adds to nodes by name."""
    data, views, accessors, meshes, nodes = b"", [], [], [], []

    def kept(values: np.ndarray, kind: str, component: int) -> int:
        nonlocal data
        views.append(
            {"buffer": 0, "byteOffset": len(data), "byteLength": values.nbytes}
        )
        width = values.size if kind == "SCALAR" else len(values)
        accessors.append(
            {
                "bufferView": len(views) - 1,
                "componentType": component,
                "count": width,
                "type": kind,
            }
        )
        data += values.tobytes()
        return len(accessors) - 1

    faces = np.array([(q[a], q[b], q[c]) for q in _QUADS for a, b, c in _FAN])
    for name, box in boxes.items():
        points = kept(corners_of(box).astype("<f4"), "VEC3", 5126)
        index = kept(faces.astype("<u2").ravel(), "SCALAR", 5123)
        meshes.append(
            {"primitives": [{"attributes": {"POSITION": points}, "indices": index}]}
        )
        nodes.append({"name": name, "mesh": len(meshes) - 1, **of_nodes.get(name, {})})
    tree = {
        "asset": {"version": "2.0"},
        "scene": 0,
        "scenes": [{"nodes": list(range(len(nodes)))}],
        "nodes": nodes,
        "meshes": meshes,
        "accessors": accessors,
        "bufferViews": views,
        "buffers": [
            {
                "byteLength": len(data),
                "uri": "data:application/octet-stream;base64,"
                + base64.b64encode(data).decode(),
            }
        ],
    }
    place.write_text(json.dumps(tree))
    return place


_FAN = ((0, 1, 2), (0, 2, 3))
