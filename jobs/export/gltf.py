"""A take as a glTF 2.0 file, one binary file a shot, without extensions.

    <name>                    the scene's root
      rail                    translation: the lens without shake
        head                  rotation: pan, tilt and roll
          shake               translation and rotation of the layer
            camera

The format is in metres, Y up, cameras look down -Z, and times are seconds in 32 bits;
they count from the first sample, so that none is rounded by more than a microsecond
in the first minute. It has one still angle of view, no focus, no stop, and no lens
off the frame's centre: there the angle is widened so that the frame is inside it.

Source: Khronos glTF 2.0 specification, sections on cameras, animations and GLB.
"""

import json
import struct
from typing import Any

import numpy as np
from scipy.spatial.transform import Rotation

from ...solver.arrays import FloatArray
from ..job.rate import rate_text
from ..takes.curves import Curves
from .names import version_of

_FLOAT = 5126
_KINDS = {1: "SCALAR", 3: "VEC3", 4: "VEC4"}
_NEAR_M = 0.01
_MAGIC, _VERSION, _JSON, _BIN = 0x46546C67, 2, 0x4E4F534A, 0x004E4942

RAIL, HEAD, SHAKE, CAMERA = 1, 2, 3, 4  # numbers of the nodes


def gltf_bytes(curves: Curves, *, name: str) -> bytes:
    """Return a take as a GLB file.

    Args:
        curves: the take.
        name: of the root node.
    """
    buffer = bytearray()
    accessors: list[dict[str, Any]] = []
    views: list[dict[str, Any]] = []

    def store(values: FloatArray, *, bounds: bool = False) -> int:
        data = np.ascontiguousarray(values, dtype="<f4")
        width = 1 if data.ndim == 1 else data.shape[1]
        views.append(
            {"buffer": 0, "byteOffset": len(buffer), "byteLength": data.nbytes}
        )
        buffer.extend(data.tobytes())
        accessor = {
            "bufferView": len(views) - 1,
            "componentType": _FLOAT,
            "count": len(data),
            "type": _KINDS[width],
        }
        if bounds:
            accessor |= {"min": [float(data.min())], "max": [float(data.max())]}
        accessors.append(accessor)
        return len(accessors) - 1

    nodes = _nodes(name)
    times = store(curves.time_s - curves.time_s[0], bounds=True)
    channels: list[dict[str, Any]] = []
    samplers: list[dict[str, Any]] = []
    for node, path, values in _tracks(curves):
        if (values == values[0]).all():
            nodes[node][path] = values[0].astype(np.float32).astype(float).tolist()
            continue
        samplers.append(
            {"input": times, "output": store(values), "interpolation": "LINEAR"}
        )
        channels.append(
            {"sampler": len(samplers) - 1, "target": {"node": node, "path": path}}
        )
    document: dict[str, Any] = {
        "asset": {"version": "2.0", "generator": "carrellata", "extras": _said(curves)},
        "scene": 0,
        "scenes": [{"nodes": [0], "name": curves.sequence}],
        "nodes": nodes,
        "cameras": [{"type": "perspective", "perspective": _perspective(curves)}],
    }
    if channels:
        document |= {
            "animations": [{"name": name, "channels": channels, "samplers": samplers}],
            "accessors": accessors,
            "bufferViews": views,
            "buffers": [{"byteLength": len(buffer)}],
        }
    return _glb(document, bytes(buffer) if channels else b"")


def angle_is_widened(curves: Curves) -> bool:
    """Tell whether the frame is off the lens axis, which the format cannot say."""
    return curves.gate.axis_v != 0.0


def _nodes(name: str) -> list[dict[str, Any]]:
    names = (name, "rail", "head", "shake", "camera")
    nodes: list[dict[str, Any]] = [{"name": each} for each in names]
    for k in range(len(nodes) - 1):
        nodes[k]["children"] = [k + 1]
    nodes[CAMERA]["camera"] = 0
    return nodes


def _tracks(curves: Curves) -> list[tuple[int, str, FloatArray]]:
    head = np.column_stack([curves.pan_deg, curves.tilt_deg, curves.roll_deg])
    return [
        (RAIL, "translation", curves.base_m),
        (HEAD, "rotation", _quaternions(head)),
        (SHAKE, "translation", curves.shake_m),
        (SHAKE, "rotation", _quaternions(curves.shake_deg)),
    ]


def _quaternions(angles_deg: FloatArray) -> FloatArray:
    """Return unit quaternions x, y, z, w of pan, tilt, roll, sign-continuous."""
    turns = Rotation.from_euler("YXZ", angles_deg, degrees=True).as_quat()
    facing = np.sum(turns[1:] * turns[:-1], axis=1)
    signs = np.cumprod(np.append(1.0, np.where(facing < 0.0, -1.0, 1.0)))
    continuous: FloatArray = turns * signs[:, None]
    return continuous


def _perspective(curves: Curves) -> dict[str, float]:
    gate = curves.gate
    wide = 1.0 + abs(gate.axis_v) / gate.overscan
    tan_u, tan_v = gate.render_tan_u, gate.render_tan_v * wide
    return {"yfov": 2.0 * np.arctan(tan_v), "aspectRatio": tan_u / tan_v} | {
        "znear": _NEAR_M
    }


def _said(curves: Curves) -> dict[str, Any]:
    said: dict[str, Any] = {
        "sequence": curves.sequence,
        "shot": curves.shot,
        "version": version_of(curves.take_key),
        "take_key": curves.take_key,
        "rate": rate_text(curves.rate),
        "first_frame": float(curves.time_codes[0]),
        "cut": list(curves.cut),
        "focal_mm": curves.focal_mm,
    }
    if angle_is_widened(curves):
        said["lens_axis_v"] = curves.gate.axis_v
    return said


def _glb(document: dict[str, Any], buffer: bytes) -> bytes:
    """Return the container: a header, the JSON, the buffer, each on four bytes."""
    text = json.dumps(document, separators=(",", ":"), allow_nan=False).encode()
    text += b" " * (-len(text) % 4)
    chunks = struct.pack("<II", len(text), _JSON) + text
    if buffer:
        padded = buffer + b"\0" * (-len(buffer) % 4)
        chunks += struct.pack("<II", len(padded), _BIN) + padded
    return struct.pack("<III", _MAGIC, _VERSION, 12 + len(chunks)) + chunks
