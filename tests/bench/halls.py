"""A hall of any number of triangles, as a set that nobody made for a benchmark."""

import numpy as np
from set_scenes import box, divided, set_of

from carrellata.solver.arrays import FloatArray
from carrellata.solver.sight.set_mesh import SetMesh

SIZE_M = (34.0, 5.0, 20.0)


def pillar(x: float, z: float, sides: int, rings: int) -> FloatArray:
    """Return an upright round pillar of 0.3 m radius."""
    angle = np.linspace(0.0, 2 * np.pi, sides + 1)
    high = np.linspace(0.0, SIZE_M[1], rings + 1)
    at = np.array(
        [[(x + 0.3 * np.cos(a), y, z + 0.3 * np.sin(a)) for a in angle] for y in high]
    )
    p, q, r, s = at[:-1, :-1], at[:-1, 1:], at[1:, 1:], at[1:, :-1]
    faces = np.stack([np.stack([p, q, r], axis=2), np.stack([p, r, s], axis=2)])
    return faces.reshape(-1, 3, 3)


def hall(triangles: int) -> SetMesh:
    """Return a hall with pillars and benches of about so many triangles."""
    x, y, z = SIZE_M
    room = box((-x / 2, 0.0, -z / 2), (x / 2, y, z / 2))[:, ::-1]
    parts = {"room": room}
    while len(parts["room"]) < triangles // 4:
        parts["room"] = divided(parts["room"])
    sides = max(8, round((triangles / 4 / 24 / 2 / 20) ** 1) * 2)
    for k in range(24):
        place = (-14.0 + 4.0 * (k % 8), -7.0 + 7.0 * (k // 8))
        parts[f"pillar{k}"] = pillar(*place, sides, 20)
    left = triangles - sum(map(len, parts.values()))
    for k in range(120):
        at = (-15.0 + 2.0 * (k % 15), -9.0 + 2.4 * (k // 15))
        bench = box((at[0], 0.0, at[1]), (at[0] + 1.2, 0.45, at[1] + 0.4))
        while len(bench) < left / 120 / 2:
            bench = divided(bench)
        parts[f"bench{k}"] = bench
    return set_of(parts)
