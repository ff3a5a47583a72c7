"""Make the hall of the terminal as a scene, `hall.usda`.

    python -m carrellata.jobs.examples.ferry_dash.hall

It is the hall on the ground plan of `action.py`: walls with the doors in the west, the
stairs in the north and the way to the barrier in the east, two rows of pillars, the
kiosk, a ticket counter, benches, a rope, and a waiting room of two walls that can be
taken out. Centimetres, Z up; written as text, so that nothing is needed to make it.
"""

from collections.abc import Iterator
from pathlib import Path

FOLDER = Path(__file__).parent
FILE = "hall.usda"

Point = tuple[float, float, float]
Box = tuple[Point, Point]

_CM = 100
_HIGH = 5.0  # of the walls [m]
_THICK = 0.3
PILLARS = tuple((x, y) for y in (-3.3, 4.6) for x in (3.0, 9.0, 15.0, 21.0, 27.0, 37.0))
"""Middles of the pillars [m]."""
PILLAR_M = 0.28  # radius


def boxes() -> dict[str, Box]:
    """Return what is boxes, by its path below the set, as two corners [m]."""
    w, e, s, n, t, h = -5.0, 42.0, -12.0, 8.0, _THICK, _HIGH
    found: dict[str, Box] = {
        "floor": ((w - t, s - t, -0.2), (e + 6.0, n, 0.0)),
        "walls/west_south": ((w - t, s, 0), (w, -1.5, h)),
        "walls/west_north": ((w - t, 1.5, 0), (w, n, h)),
        "walls/west_over_doors": ((w - t, -1.5, 2.6), (w, 1.5, h)),
        "walls/south": ((w - t, s - t, 0), (e + t, s, h)),
        "walls/north_west": ((w - t, n, 0), (30.8, n + t, h)),
        "walls/north_east": ((35.2, n, 0), (e + t, n + t, h)),
        "walls/east_south": ((e, s, 0), (e + t, -0.5, h)),
        "walls/east_north": ((e, 3.5, 0), (e + t, n, h)),
        "barrier": ((41.0, -0.5, 0), (41.1, 3.5, 1.1)),
        "kiosk": ((28.2, -0.8, 0), (29.8, 0.8, 2.6)),
        "counter": ((12.0, -11.4, 0), (20.0, -10.6, 1.15)),
        "waiting_room/waiting_north": ((18.5, -6.6, 0), (25.5, -6.5, 2.6)),
        "waiting_room/waiting_west": ((18.4, -10.2, 0), (18.5, -6.5, 2.6)),
        "rope": ((12.0, -9.5, 0.95), (20.0, -9.485, 0.965)),
    }
    for k in range(8):
        x = 0.5 + 3.2 * k
        found[f"benches/bench{k}"] = ((x, 6.4, 0.0), (x + 2.0, 6.9, 0.45))
    for k in range(8):
        low = 0.425 * k
        found[f"stairs/step{k}"] = (
            (31.0, 8.0 + 0.75 * k, 0),
            (35.0, 14.0, low + 0.425),
        )
    return found


def scene() -> str:
    """Return the scene as text."""
    tree: dict[str, list[str]] = {}
    for name, box in boxes().items():
        group, _, own = name.rpartition("/")
        tree.setdefault(group, []).append(_mesh(own, *_hexahedron(box)))
    tree["pillars"] = [_pillar(k, x, y) for k, (x, y) in enumerate(PILLARS)]
    lines = [
        "#usda 1.0",
        "(",
        '    defaultPrim = "World"',
        "    metersPerUnit = 0.01",
        '    upAxis = "Z"',
        ")",
        'def Xform "World"',
        "{",
        'def Xform "set"',
        "{",
    ]
    for group, prims in tree.items():
        if group:
            lines += [f'def Xform "{group}"', "{"]
        if group == "waiting_room":
            lines.append("custom bool carrellata:wild = 1")
        lines += prims
        if group:
            lines.append("}")
    return "\n".join([*lines, "}", "}", ""])


def write(folder: Path) -> Path:
    """Write the scene into a folder, and return where it lies."""
    place = folder / FILE
    place.write_text(scene(), encoding="utf-8")
    return place


def _hexahedron(box: Box) -> tuple[list[Point], list[tuple[int, ...]]]:
    (x0, y0, z0), (x1, y1, z1) = box
    points = [(x, y, z) for z in (z0, z1) for y in (y0, y1) for x in (x0, x1)]
    faces: list[tuple[int, ...]] = [
        (0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4),
        (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5),
    ]  # fmt: skip
    return points, faces


def _mesh(name: str, points: list[Point], faces: list[tuple[int, ...]]) -> str:
    """Return a mesh as text."""
    return "\n".join(
        [
            f'def Mesh "{name}"',
            "{",
            f"int[] faceVertexCounts = [{_list(len(face) for face in faces)}]",
            f"int[] faceVertexIndices = [{_list(k for face in faces for k in face)}]",
            f"point3f[] points = [{', '.join(map(_point, points))}]",
            'uniform token subdivisionScheme = "none"',
            "}",
        ]
    )


def _pillar(k: int, x: float, y: float) -> str:
    """Return a round pillar as text."""
    middle = _point((x, y, _HIGH / 2))
    return "\n".join(
        [
            f'def Cylinder "pillar{k}"',
            "{",
            'uniform token axis = "Z"',
            f"double height = {_HIGH * _CM:g}",
            f"double radius = {PILLAR_M * _CM:g}",
            f"double3 xformOp:translate = {middle}",
            'uniform token[] xformOpOrder = ["xformOp:translate"]',
            "}",
        ]
    )


def _list(values: Iterator[int]) -> str:
    return ", ".join(map(str, values))


def _point(point: Point) -> str:
    return f"({', '.join(f'{value * _CM:.6g}' for value in point)})"


if __name__ == "__main__":
    write(FOLDER)
