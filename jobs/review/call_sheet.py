"""The camera side of a call sheet: the setups of a sequence by rig and lens.

What is laid at once is what the largest setup needs, since one stands at a time.
Planning estimates, not clearances.
"""

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from ..job.rig import RIGS
from ..takes.curves import Delivery
from ..takes.metadata import take_metadata
from .grip_sheet import feet_and_metres


@dataclass(frozen=True, kw_only=True, slots=True)
class CalledSetup:
    """One setup to be built.

    Attributes:
        scene: name of the scene.
        rig: kind of the rig.
        lens_mm: focal length.
        height_m: lowest and highest lens over the ground.
        laid_m: track that is laid; 0 on sticks.
        sections: of straight track; 0 for an arc and where sections are not counted.
        section_m: length of one.
        radius_m: of an arc; 0 for straight track.
        shots: that are taken from it, in the order of the cut.
    """

    scene: str
    rig: str
    lens_mm: float
    height_m: tuple[float, float]
    laid_m: float
    sections: int
    section_m: float
    radius_m: float
    shots: tuple[str, ...]


def called_setups(delivery: Delivery) -> tuple[CalledSetup, ...]:
    """Return the setups of a sequence, by rig, lens and scene.

    Shots of a scene with one letter, or with the same rig and lens to the digit, share
    a setup.
    """
    groups: dict[str, list[tuple[str, str, Any, Any]]] = {}
    for row, table in zip(delivery.rows, delivery.tables, strict=True):
        metadata = take_metadata(table)
        plain = metadata.setup.plain()
        own = {name: plain[name] for name in ("rig", "lens_mm", "height")}
        label = json.loads(row.setup).get("label")
        key = json.dumps([row.scene.lower(), label or own], sort_keys=True)
        one = (row.scene, row.shot, metadata.setup, metadata.grip_sheet)
        groups.setdefault(key, []).append(one)
    setups = [_setup(one) for one in groups.values()]
    order = list(RIGS)
    return tuple(
        sorted(setups, key=lambda s: (order.index(s.rig), s.lens_mm, s.scene, s.shots))
    )


def _setup(shots: Sequence[tuple[str, str, Any, Any]]) -> CalledSetup:
    scene, _, setup, _ = shots[0]
    sheets = [sheet for *_, sheet in shots]
    largest: dict[str, Any] = max(
        (sheet["track"] for sheet in sheets if sheet["track"] is not None),
        key=lambda track: float(track["laid_m"]),
        default={},
    )
    heights = [height for sheet in sheets for height in sheet["height_m"]]
    return CalledSetup(
        scene=scene,
        rig=setup.rig.kind,
        lens_mm=setup.lens_mm,
        height_m=(min(heights), max(heights)),
        laid_m=largest.get("laid_m", 0.0),
        sections=largest.get("sections", 0),
        section_m=largest.get("section_m", 0.0),
        radius_m=largest.get("radius_m", 0.0),
        shots=tuple(shot for _, shot, _, _ in shots),
    )


def call_sheet_lines(setups: Sequence[CalledSetup]) -> Iterator[str]:
    """Yield the sheet as lines to read."""
    rig = ""
    for one in setups:
        if one.rig != rig:
            rig = one.rig
            yield f"{RIGS[rig].words}:"
        yield f"  {_words(one)}"
    yield from _stock_lines(setups)


def stock(setups: Sequence[CalledSetup]) -> dict[str, Any]:
    """Return the track that is needed at once, straight and curved."""
    straight: dict[float, int] = {}
    curved: dict[float, float] = {}
    for one in setups:
        if one.radius_m:
            curved[one.radius_m] = max(curved.get(one.radius_m, 0.0), one.laid_m)
        elif one.sections:
            most = max(straight.get(one.section_m, 0), one.sections)
            straight[one.section_m] = most
    return {
        "straight": [
            {"section_m": length, "sections": count}
            for length, count in sorted(straight.items())
        ],
        "curved": [
            {"radius_m": radius, "laid_m": laid}
            for radius, laid in sorted(curved.items())
        ],
    }


def _words(one: CalledSetup) -> str:
    low, high = one.height_m
    height = (
        feet_and_metres(low)
        if low == high
        else f"{feet_and_metres(low)} to {feet_and_metres(high)}"
    )
    track = f", {feet_and_metres(one.laid_m)} of track" if one.laid_m else ""
    pieces = f" in {one.sections} sections" if one.sections else ""
    return (
        f"{one.lens_mm:g} mm, lens {height}{track}{pieces}: "
        f"{one.scene} {', '.join(one.shots)}"
    )


def _stock_lines(setups: Sequence[CalledSetup]) -> Iterator[str]:
    found = stock(setups)
    parts = [
        f"{one['sections']} straight sections of {feet_and_metres(one['section_m'])}"
        for one in found["straight"]
    ]
    parts += [
        f"{feet_and_metres(one['laid_m'])} of curved track, radius "
        f"{feet_and_metres(one['radius_m'])}"
        for one in found["curved"]
    ]
    yield f"track needed at once: {'; '.join(parts) or 'none'}"
    yield "planning estimates, not clearances"
