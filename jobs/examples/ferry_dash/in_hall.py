"""Solve `in_hall.toml` with its set and without, and print what its walls do.

    python -m carrellata.jobs.examples.ferry_dash.in_hall

Takes are held against the boxes and pillars of `hall.py` by formulas of this file, so
what the solver knows of a set is not asked. A lens nearer than `CAMERA_M` to a solid
stands in it. A point of a body is hidden where the straight line from the lens to it
meets a solid, or somebody else; points out of the picture do not count.
"""

import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from ....solver.arrays import BoolArray, FloatArray
from ...library.results import TakeResult
from ...library.solve import solve
from ...takes.bodies import Body, read_bodies
from .hall import PILLAR_M, PILLARS, boxes

FOLDER = Path(__file__).parent
JOB = "in_hall.toml"
CAMERA_M = 0.2  # from the entrance pupil to the outside of a camera
BODY_M = 0.2  # radius of somebody who stands in the way
PILLAR_TOP_M = 5.0
POINTS = (0.516, 0.727, 0.935, 1.0)  # hips, chest, eyes, crown: shares of stature
FLOORS = ("floor",)  # a camera stands on it
THIN = ("rope",)  # nobody is hidden by it
_CM = 0.01


@dataclass(frozen=True, kw_only=True, slots=True)
class HallCheck:
    """What the hall does to a take.

    Attributes:
        nearest: name of the solid nearest to the lens.
        clearance_m: of the lens from it, the least of all frames; 0 inside.
        hidden: share of the points in the picture that are hidden, by person.
        hiders: names of what hides them.
    """

    nearest: str
    clearance_m: float
    hidden: dict[str, float]
    hiders: tuple[str, ...]

    @property
    def stands_in(self) -> bool:
        """Whether the camera stands in something."""
        return self.clearance_m < CAMERA_M

    @property
    def is_clear(self) -> bool:
        """Whether the camera stands free and sees everybody."""
        return not self.stands_in and not any(self.hidden.values())


def tables(*, with_set: bool) -> dict[str, Any]:
    """Return the tables of the job, with its set or without; files have whole paths."""
    job = tomllib.loads((FOLDER / JOB).read_text(encoding="utf-8"))
    job["stage"]["set"]["file"] = str(FOLDER / job["stage"]["set"]["file"])
    for shot in job["shots"]:
        for subject in shot["subjects"]:
            subject["file"] = str(FOLDER / subject["file"])
    if not with_set:
        del job["stage"]["set"]
    return job


def takes(*, with_set: bool) -> dict[str, TakeResult]:
    """Return the takes of the job by shot, with its set or without."""
    return {shot.name: shot.need() for shot in solve(tables(with_set=with_set))}


def hall_check(take: TakeResult) -> HallCheck:
    """Return what the hall does to a take, whether or not it was solved in it."""
    table = take.table
    cut = (table["sub"].to_numpy() == 0) & ~table["handle"].to_numpy()
    columns = ("cam_x", "cam_y", "cam_z", "qx", "qy", "qz", "qw")
    pose = np.stack([table[name].to_numpy()[cut] for name in columns], axis=1)
    lens, turn = pose[:, :3] * _CM, pose[:, 3:]
    nearest, clearance_m = nearest_of(lens)
    bodies = read_bodies(table)
    half = [take.about["gate"][name] for name in ("tan_u", "tan_v")]
    hidden, hiders = {}, set()
    for body in bodies:
        stops = []
        shown = []
        for share in POINTS:
            point = _point(body, cut, share)
            others = [one for one in bodies if one is not body]
            met = dict(_met(lens, point, cut, others))
            shown.append(_in_picture(lens, turn, point, half))
            stops.append(np.any(list(met.values()), axis=0) & shown[-1])
            hiders |= {name for name, by in met.items() if (by & shown[-1]).any()}
        seen = int(np.sum(shown))
        hidden[body.name] = float(np.sum(stops)) / seen if seen else 0.0
    return HallCheck(
        nearest=nearest,
        clearance_m=clearance_m,
        hidden=hidden,
        hiders=tuple(sorted(hiders)),
    )


def nearest_of(places: FloatArray) -> tuple[str, float]:
    """Return the solid nearest to places (n, 3) [m], and how near it comes [m]."""
    gaps = dict(_gaps(places))
    nearest = min(gaps, key=lambda name: gaps[name])
    return nearest, gaps[nearest]


def _gaps(lens: FloatArray) -> Iterator[tuple[str, float]]:
    """Yield how near each solid of the hall comes to places (n, 3) [m]."""
    for name, (low, high) in boxes().items():
        if name in FLOORS:
            continue
        off = np.maximum(np.maximum(np.array(low) - lens, lens - np.array(high)), 0.0)
        yield name, float(np.linalg.norm(off, axis=1).min())
    for k, middle in enumerate(PILLARS):
        off = np.linalg.norm(lens[:, :2] - middle, axis=1) - PILLAR_M
        yield f"pillar{k}", float(np.maximum(off, 0.0).min())


def _met(
    lens: FloatArray, point: FloatArray, cut: BoolArray, others: list[Body]
) -> Iterator[tuple[str, BoolArray]]:
    """Yield which lines (n, 3) to (n, 3) each solid and each person stops, (n,)."""
    for name, (low, high) in boxes().items():
        if name not in THIN:
            yield name, _meets_box(lens, point, np.array(low), np.array(high))
    for k, middle in enumerate(PILLARS):
        foot = np.array([*middle, 0.0])
        yield (
            f"pillar{k}",
            _meets_round(lens, point, foot, (PILLAR_M, PILLAR_TOP_M)),
        )
    for body in others:
        foot = body.floor[cut] * _CM
        yield body.name, _meets_round(lens, point, foot, (BODY_M, body.height_m))


def _meets_box(
    start: FloatArray, end: FloatArray, low: FloatArray, high: FloatArray
) -> BoolArray:
    """Return which lines run through a box: by where they cross its six planes."""
    step = end - start
    with np.errstate(divide="ignore", invalid="ignore"):
        one, two = (low - start) / step, (high - start) / step
    enter = np.maximum(np.fmin(one, two).max(axis=1), 0.0)
    leave = np.minimum(np.fmax(one, two).min(axis=1), 1.0)
    beside = ((step == 0.0) & ((start < low) | (start > high))).any(axis=1)
    met: BoolArray = (enter <= leave) & ~beside
    return met


def _meets_round(
    start: FloatArray, end: FloatArray, foot: FloatArray, size: tuple[float, float]
) -> BoolArray:
    """Return which lines run through an upright cylinder of a radius and a height."""
    radius, high = size
    step, off = (end - start), start - foot
    a = (step[:, :2] ** 2).sum(axis=1)
    b = (step[:, :2] * off[:, :2]).sum(axis=1)
    c = (off[:, :2] ** 2).sum(axis=1) - radius**2
    inside = b * b - a * c
    root = np.sqrt(np.maximum(inside, 0.0))
    enter = np.maximum((-b - root) / a, 0.0)
    leave = np.minimum((-b + root) / a, 1.0)
    ends = off[:, 2] + step[:, 2] * enter, off[:, 2] + step[:, 2] * leave
    between = (np.minimum(*ends) <= high) & (np.maximum(*ends) >= 0.0)
    met: BoolArray = (inside > 0.0) & (enter <= leave) & between
    return met


def _point(body: Body, cut: BoolArray, share: float) -> FloatArray:
    """Return a point of a body at a share of its stature, (n, 3) [m]."""
    foot, eyes = body.floor[cut] * _CM, body.eyes[cut] * _CM
    point: FloatArray = foot + (eyes - foot) * (share / 0.935)
    return point


def _in_picture(
    lens: FloatArray, turn: FloatArray, point: FloatArray, half: list[float]
) -> BoolArray:
    """Return which points lie in the picture of a camera with these rotations."""
    away, axis, w = point - lens, -turn[:, :3], turn[:, 3:]
    twice = 2.0 * np.cross(axis, away)
    x, y, z = (away + w * twice + np.cross(axis, twice)).T
    shown: BoolArray = (
        (z < 0) & (np.abs(x) <= -z * half[0]) & (np.abs(y) <= -z * half[1])
    )
    return shown


def report() -> Iterator[str]:
    """Yield the lines of the table that compares the takes."""
    row = "{:5} {:8} {:36} {:24} {}".format
    yield row("shot", "set", "setup", "nearest solid", "points hidden")
    for with_set in (True, False):
        for name, take in takes(with_set=with_set).items():
            found, setup = hall_check(take), take.setup
            where = setup["rig"].get("at") or setup["rig"]["from"]
            place = ", ".join(f"{_CM * each:.2f}" for each in where)
            rig = f"{setup['lens_mm']:g} mm, {setup['rig']['kind']} ({place})"
            near = f"{found.nearest.rpartition('/')[2]} {found.clearance_m:.2f} m"
            share = ", ".join(f"{who} {h:.0%}" for who, h in found.hidden.items())
            by = f" by {', '.join(found.hiders)}" if found.hiders else ""
            yield row(name, "with" if with_set else "without", rig, near, share + by)


if __name__ == "__main__":
    print("\n".join(report()))
