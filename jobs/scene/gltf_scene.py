"""The parts of a set in a glTF 2.0 file: the meshes of its default scene.

Metres and Y up, as glTF has it. Triangles, their strips and fans count; lines and
points do not. A node that may be taken out has `"wild": true` in its extras, itself or
any node over it. Nothing that is animated or skinned is followed.
"""

import base64
import binascii
import hashlib
import json
import struct
from collections.abc import Iterator
from pathlib import Path
from typing import Any, NoReturn
from urllib.parse import unquote

import numpy as np

from ...solver.arrays import FloatArray, IntArray
from ..job.stage import SetSpec
from .baked import MAX_BYTES, MAX_TRIANGLES, ScenePart, too_many
from .faults import refuse_set

_MAGIC, _JSON, _BIN = 0x46546C67, 0x4E4F534A, 0x004E4942
_FORMS = {5120: "i1", 5121: "u1", 5122: "<i2", 5123: "<u2", 5125: "<u4", 5126: "<f4"}
_WIDTHS = {"SCALAR": 1, "VEC3": 3}
_TRIANGLES, _STRIP, _FAN = 4, 5, 6
_KNOWN = ("KHR_materials", "KHR_texture", "KHR_lights")  # say nothing of shapes


class _BrokenError(Exception):
    """What keeps a file from being read, in a sentence."""


def _refuse(message: str) -> NoReturn:
    raise _BrokenError(message)


def gltf_parts(asked: SetSpec, place: Path, path: str) -> tuple[str, list[ScenePart]]:
    """Return the digest of a file and its buffers, and the parts of its scene.

    Args:
        asked: the set's table in the job.
        place: of the file.
        path: the table, `shots[2].stage.set`.

    Raises:
        SetError: the file, or a node of it, cannot be used.
    """
    label, field = f"'{asked.file}'", f"{path}.file"
    try:
        tree, buffers, digest = _opened(place)
        nodes = list(_nodes(tree))
        roots = _roots(tree, asked, path, label)
        parts, total = [], 0
        for place_of, chain, pose in nodes:
            if roots and not roots.intersection(chain):
                continue
            shape = _shape(tree, buffers, place_of, pose)
            total += len(shape[1])
            if total > MAX_TRIANGLES:
                _refuse(too_many(label, total))
            if len(shape[1]):
                wild = any(_is_wild(tree["nodes"][k]) for k in chain)
                parts.append(ScenePart(_name(tree, chain), *shape, wild))
    except _BrokenError as error:
        refuse_set(field, str(error).replace("{}", label))
    except (KeyError, IndexError, TypeError, ValueError, AttributeError):
        refuse_set(field, f"{label} is not a sound glTF 2.0 file")
    return digest, _named_once(parts)


def _opened(place: Path) -> tuple[dict[str, Any], list[bytes], str]:
    data = _bytes(place)
    found = [data]
    body = None
    if data[:4] == struct.pack("<I", _MAGIC):
        chunks = dict(_chunks(data))
        text, body = chunks[_JSON], chunks.get(_BIN)
    else:
        text = data
    tree = json.loads(text)
    for name in tree.get("extensionsRequired", ()):
        if not name.startswith(_KNOWN):
            message = f"{{}} needs {name}, which is not read: export it without"
            _refuse(message)
    buffers = []
    for buffer in tree.get("buffers", ()):
        name = buffer.get("uri")
        if name is None:
            if body is None:
                _refuse("{} has a buffer that is nowhere")
            buffers.append(body)
        elif name.startswith("data:"):
            try:
                buffers.append(base64.b64decode(name.partition(",")[2]))
            except binascii.Error as error:
                raise ValueError(name) from error
        else:
            own = place.parent / unquote(name)
            if not own.is_file():
                _refuse(f"{{}} needs '{name}', which is not there")
            buffers.append(_bytes(own))
            found.append(buffers[-1])
    digests = "\n".join(hashlib.sha256(each).hexdigest() for each in found)
    return tree, buffers, hashlib.sha256(digests.encode()).hexdigest()


def _bytes(place: Path) -> bytes:
    if not place.is_file():
        _refuse("{} is not a file")
    if place.stat().st_size > MAX_BYTES:
        _refuse(f"{{}} exceeds {MAX_BYTES // 2**20} MB")
    return place.read_bytes()


def _chunks(data: bytes) -> Iterator[tuple[int, bytes]]:
    at = 12
    while at + 8 <= len(data):
        length, kind = struct.unpack_from("<II", data, at)
        yield kind, data[at + 8 : at + 8 + length]
        at += 8 + length


def _nodes(
    tree: dict[str, Any],
) -> Iterator[tuple[int, tuple[int, ...], FloatArray]]:
    """Yield nodes that have a mesh, with their line of parents and their pose."""
    scenes = tree.get("scenes") or [{"nodes": range(len(tree.get("nodes", ())))}]
    waiting: list[tuple[tuple[int, ...], FloatArray]] = [
        ((k,), np.eye(4))
        for k in reversed(scenes[tree.get("scene", 0)].get("nodes", ()))
    ]
    while waiting:
        chain, over = waiting.pop()
        node = tree["nodes"][chain[-1]]
        if len(chain) > len(tree["nodes"]):
            _refuse("{} has nodes that are their own parents")
        pose = over @ _pose(node)
        if "mesh" in node:
            yield node["mesh"], chain, pose
        below = node.get("children", ())
        waiting += [((*chain, child), pose) for child in reversed(below)]


def _pose(node: dict[str, Any]) -> FloatArray:
    if "matrix" in node:
        return np.array(node["matrix"], dtype=np.float64).reshape(4, 4).T
    x, y, z, w = node.get("rotation", (0.0, 0.0, 0.0, 1.0))
    turn = np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
            [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
            [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
        ]
    )
    pose = np.eye(4)
    pose[:3, :3] = turn * np.array(node.get("scale", (1.0, 1.0, 1.0)))
    pose[:3, 3] = node.get("translation", (0.0, 0.0, 0.0))
    return pose


def _roots(tree: dict[str, Any], asked: SetSpec, path: str, label: str) -> set[int]:
    """Return the nodes that the job names."""
    names = [node.get("name") for node in tree.get("nodes", ())]
    for k, name in enumerate(asked.prims):
        if name not in names:
            refuse_set(f"{path}.prims[{k}]", f"{label} has no node '{name}'")
    return {k for k, name in enumerate(names) if name in asked.prims}


def _is_wild(node: dict[str, Any]) -> bool:
    extras = node.get("extras")
    return isinstance(extras, dict) and extras.get("wild") is True


def _name(tree: dict[str, Any], chain: tuple[int, ...]) -> str:
    """Return the path of a node, of names or numbers."""
    return "/" + "/".join(
        str(tree["nodes"][k].get("name") or f"node{k}") for k in chain
    )


def _named_once(parts: list[ScenePart]) -> list[ScenePart]:
    """Return parts whose names differ, a later one of the same name with a number."""
    seen: dict[str, int] = {}
    named = []
    for part in parts:
        count = seen[part.name] = seen.get(part.name, 0) + 1
        name = part.name if count == 1 else f"{part.name}.{count}"
        named.append(part._replace(name=name))
    return named


def _shape(
    tree: dict[str, Any], buffers: list[bytes], mesh: int, pose: FloatArray
) -> tuple[FloatArray, IntArray]:
    """Return the points and triangles of a mesh where its node puts it."""
    points, triangles, start = [np.empty((0, 3))], [np.empty((0, 3), np.int64)], 0
    for one in tree["meshes"][mesh]["primitives"]:
        mode = one.get("mode", _TRIANGLES)
        if mode not in (_TRIANGLES, _STRIP, _FAN):
            continue
        own = _values(tree, buffers, one["attributes"]["POSITION"]).astype(np.float64)
        index = (
            _values(tree, buffers, one["indices"]).ravel().astype(np.int64)
            if "indices" in one
            else np.arange(len(own))
        )
        if len(index) and index.max() >= len(own):
            _refuse("{} has a triangle of a point that there is not")
        if not np.isfinite(own).all():
            _refuse("{} has a point that is not finite")
        points.append(own @ pose[:3, :3].T + pose[:3, 3])
        triangles.append(_triangles(index, mode) + start)
        start += len(own)
    faces = np.concatenate(triangles)
    if np.linalg.det(pose[:3, :3]) < 0:
        faces = faces[:, ::-1]
    return np.concatenate(points), faces


def _triangles(index: IntArray, mode: int) -> IntArray:
    if mode == _TRIANGLES:
        return index[: len(index) // 3 * 3].reshape(-1, 3)
    if len(index) < 3:
        return np.empty((0, 3), dtype=np.int64)
    if mode == _FAN:
        first = np.full(len(index) - 2, index[0])
        return np.column_stack([first, index[1:-1], index[2:]])
    strip = np.column_stack([index[:-2], index[1:-1], index[2:]])
    strip[1::2] = strip[1::2][:, [1, 0, 2]]
    return strip


def _values(tree: dict[str, Any], buffers: list[bytes], number: int) -> Any:
    """Return what an accessor gives, (n, width)."""
    accessor = tree["accessors"][number]
    if "sparse" in accessor or "bufferView" not in accessor:
        _refuse("{} has sparse accessors, which are not read")
    view = tree["bufferViews"][accessor["bufferView"]]
    form = np.dtype(_FORMS[accessor["componentType"]])
    width, count = _WIDTHS[accessor["type"]], accessor["count"]
    step = view.get("byteStride") or width * form.itemsize
    start = view.get("byteOffset", 0) + accessor.get("byteOffset", 0)
    data = buffers[view["buffer"]]
    if count and start + step * (count - 1) + width * form.itemsize > len(data):
        _refuse("{} has a buffer that ends too early")
    return np.ndarray((count, width), form, data, start, (step, form.itemsize))
