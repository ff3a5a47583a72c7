"""Where every subject's body is at each sample of a take, kept beside its columns.

One JSON object in the file's metadata: `subjects` maps a name to `height_m` and to
`floor` and `eyes`, base64 of little-endian float32, three numbers a sample, in scene
axes and units. It is for drawing; what a take is judged by stands in its columns.
"""

import json
from base64 import b64decode, b64encode
from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from ...solver.arrays import FloatArray
from ...solver.take import Take
from ..job.world import WorldSpec
from .keys import canonical

BODIES_KEY = b"carrellata.bodies"


@dataclass(frozen=True, kw_only=True, slots=True)
class Body:
    """One subject at each sample of a take.

    Attributes:
        name: as in the job.
        height_m: stature.
        floor: where it stands, (n, 3), in scene axes and units.
        eyes: middle of the eyes, (n, 3), likewise.
    """

    name: str
    height_m: float
    floor: FloatArray
    eyes: FloatArray


def bodies_json(take: Take, world: WorldSpec) -> str:
    """Return the bodies of a take's subjects as the text that is written."""
    return canonical(
        {
            "subjects": {
                subject.name: {
                    "height_m": subject.height_m,
                    "floor": _packed(subject.at(take.times_s, 0.0), world),
                    "eyes": _packed(subject.at(take.times_s, 1.0), world),
                }
                for subject in take.shot.subjects
            }
        }
    )


def read_bodies(table: pa.Table) -> tuple[Body, ...]:
    """Return the bodies of a take's subjects, as its table was written."""
    written = json.loads(table.schema.metadata[BODIES_KEY])
    return tuple(
        Body(
            name=name,
            height_m=float(one["height_m"]),
            floor=_unpacked(one["floor"]),
            eyes=_unpacked(one["eyes"]),
        )
        for name, one in written["subjects"].items()
    )


def _packed(points_m: FloatArray, world: WorldSpec) -> str:
    points = world.scene(points_m).astype("<f4")
    return b64encode(points.tobytes()).decode()


def _unpacked(text: str) -> FloatArray:
    points = np.frombuffer(b64decode(text), dtype="<f4").reshape(-1, 3)
    return points.astype(np.float64)
