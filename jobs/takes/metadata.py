"""What a take's file says of itself beside its columns, as typed values.

It stands in the file as one JSON object under `METADATA_KEY`. Both ways between it and
the values are here: `TakeMetadata.json` and `take_metadata`. In the file, places are in
scene axes and units; here they are inside, in metres with Y up. The rail is that of the
setup; it stands in the file apart as numbers for who reads the file elsewhere.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache
from math import degrees
from typing import Any

import numpy as np
import pyarrow as pa

from ...solver.arrays import FloatArray
from ...solver.cuts.end import ShotEnds
from ...solver.measures.on_stage import Measures
from ...solver.optics.camera import Gate
from ...solver.rigs.shape import Rig
from ..job.rate import parse_rate, rate_text
from ..job.rig import rig_of
from ..job.setup import SetupSpec
from ..job.world import WorldSpec, world_of
from .keys import Keys, canonical, plain_fields

TAKE_SCHEMA = "carrellata.take/1"
METADATA_KEY = b"carrellata"

Plain = dict[str, Any]
"""A JSON object."""


@dataclass(frozen=True, kw_only=True, slots=True)
class TakeGate(Gate):
    """The film area, and the half angles' tangents that the lens gives on it.

    Attributes:
        tan_u, tan_v: bound the delivered frame, by which framing is judged. A point at
            height v over the lens axis stands at v + `axis_v` in the frame.
        render_tan_u, render_tan_v: bound the picture with its overscan.
    """

    tan_u: float
    tan_v: float
    render_tan_u: float
    render_tan_v: float


@dataclass(frozen=True, kw_only=True, slots=True)
class CrewNumbers:
    """The crew that operated a take, in the units of the job file.

    Attributes:
        preset: its name.
        operator: numbers of the operator, by name.
        grip: numbers of the grip, by name.
        puller: numbers of the focus puller, by name.
        focus_method: `marks` or `eye`.
        variability: how much takes differ; see `crew.variability` of the solver.
    """

    preset: str
    operator: Mapping[str, float]
    grip: Mapping[str, float]
    puller: Mapping[str, float]
    focus_method: str
    variability: float = 0.0


@dataclass(frozen=True, kw_only=True, slots=True)
class ShotBrief:
    """What the job asked of the picture, of the lens and of the film.

    Attributes:
        frames: first and last of the cut.
        handles: frames solved before and after the cut.
        samples_per_frame: samples a frame.
        framing: as in the job file.
        cues: as in the job file.
        shake: as in the job file.
        stage: as in the job file.
        coc_mm: circle of confusion.
        shutter_deg: angle of the shutter.
        close_focus_m: nearest distance that the lens focuses at.
        take: number of the take.
    """

    frames: tuple[int, int]
    handles: tuple[int, int]
    samples_per_frame: int
    framing: Plain
    cues: tuple[Plain, ...]
    shake: Plain
    stage: Plain
    coc_mm: float
    shutter_deg: float
    close_focus_m: float
    take: int = 1


@dataclass(frozen=True, kw_only=True, slots=True)
class TakeMetadata:
    """What is known of a take beside its samples.

    Attributes:
        keys: digests of what it was made from.
        model: number of the curve model.
        rate: frames a second.
        world: axes and units of its scene.
        units: of the columns, by name.
        setup: rig, lens, height, side and view, as they stand in the job file.
        gate: the film area and its angles.
        rail: where the lens can be.
        knots: of `rail_m`, `pan_deg` and `tilt_deg`: (k, 3) time [s], value, speed.
            Between two knots the channel is the cubic of their values and speeds.
        crew: who operated it.
        asked: what the job asked.
        grip_sheet: by `grip_metadata`.
        ends: how its cut begins and ends.
        measures: what it is judged by.
        claims: what came of each claim of the shot, by `ClaimOutcome.plain`.
        set: whom the set hides and how it is drawn, by `set_metadata`; empty without.
        status: `solved`.
    """

    keys: Keys
    model: int
    rate: Fraction
    world: WorldSpec
    units: Mapping[str, str]
    setup: SetupSpec
    gate: TakeGate
    rail: Rig
    knots: Mapping[str, FloatArray]
    crew: CrewNumbers
    asked: ShotBrief
    grip_sheet: Plain
    ends: ShotEnds
    measures: Measures
    claims: tuple[Plain, ...] = ()
    set: Plain = field(default_factory=dict)
    status: str

    def measure(self, name: str) -> float | None:
        """Return a measure; None where it has no value."""
        value = self.measures[name]
        return None if value is None else float(value)

    def json(self) -> str:
        """Return the text that is written; equal values give equal texts."""
        return canonical(
            {
                "schema": TAKE_SCHEMA,
                "keys": plain_fields(self.keys),
                "model": self.model,
                "rate": rate_text(self.rate),
                "axes": _axes(self.world),
                "units": self.units,
                "setup": self.setup.plain(),
                "gate": plain_fields(self.gate),
                "rail": _rail(self.rail, self.world),
                "knots": {name: rows.tolist() for name, rows in self.knots.items()},
                "crew": plain_fields(self.crew),
                "asked": plain_fields(self.asked),
                "grip_sheet": self.grip_sheet,
                "ends": self.ends.plain(),
                "measures": self.measures,
                "status": self.status,
                **({"claims": self.claims} if self.claims else {}),
                **({"set": self.set} if self.set else {}),
            }
        )


def take_metadata(table: pa.Table) -> TakeMetadata:
    """Return the metadata of a take's table.

    Raises:
        ValueError: it has none of the form `TAKE_SCHEMA`.
    """
    written = (table.schema.metadata or {}).get(METADATA_KEY, b"{}")
    try:
        return _of_json(written)
    except (KeyError, TypeError, ValueError) as error:
        message = f"is not a take of the form {TAKE_SCHEMA}"
        raise ValueError(message) from error


@lru_cache(maxsize=4)  # a take is checked when it is read, and then looked at
def _of_json(written: bytes) -> TakeMetadata:
    values: Plain = json.loads(written)
    if values["schema"] != TAKE_SCHEMA:
        raise ValueError(values["schema"])
    world = world_of(values["axes"])
    setup = SetupSpec.model_validate(values["setup"])
    asked: Plain = values["asked"]
    for name in ("frames", "handles", "cues"):
        asked[name] = tuple(asked[name])
    return TakeMetadata(
        keys=Keys(**values["keys"]),
        model=values["model"],
        rate=parse_rate(values["rate"]),
        world=world,
        units=values["units"],
        setup=setup,
        gate=TakeGate(**values["gate"]),
        rail=rig_of(setup.rig, world, setup.height),
        knots={name: np.array(rows) for name, rows in values["knots"].items()},
        crew=CrewNumbers(**values["crew"]),
        asked=ShotBrief(**asked),
        grip_sheet=values["grip_sheet"],
        ends=ShotEnds.from_plain(values["ends"]),
        measures=values["measures"],
        claims=tuple(values.get("claims", ())),
        set=values.get("set", {}),
        status=values["status"],
    )


def _rail(rig: Rig, world: WorldSpec) -> Plain:
    """Return where the lens can be, as `rail_m` runs from 0 to `length_m`.

    `origin` is the place at 0, or an arc's centre at lens height, in scene axes and
    units; `direction` a track's unit vector in scene axes; `turn` is 1 for an arc that
    runs counter-clockwise seen from above, and -1 for the other.
    """
    shape = rig.shape
    return {
        "kind": rig.kind,
        "length_m": shape.length,
        "origin": world.scene(shape.origin[None])[0].tolist(),
        "direction": world.ahead(shape.direction[None])[0].tolist(),
        "radius_m": shape.radius,
        "start_deg": degrees(shape.start),
        "turn": shape.turn,
    }


def _axes(world: WorldSpec) -> Plain:
    return {
        "up": world.up,
        "handed": "right",
        "metres_per_unit": world.metres_per_unit,
        "camera": "looks down its own -Z, +Y up, +X right",
        "quaternion": "x y z w, scene from camera",
        "pan_zero": "-z" if world.up == "y" else "+y",
        "pan_positive": "counter-clockwise seen from above",
    }
