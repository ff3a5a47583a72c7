"""Where every subject's body is at each sample of a take, kept beside its columns.

One JSON object in the file's metadata: `subjects` maps a name to `height_m` and to
`floor` and `eyes`, base64 of little-endian float32, three numbers a sample, in scene
axes and units, and to `facing_deg`, one number a sample. It is for drawing; what a take
is judged by stands in its columns.
"""

import json
from base64 import b64decode, b64encode
from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from ...solver.action.subject import Subject
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
        facing_deg: about the up axis as pan counts, (n,); NaN where it is not known.
    """

    name: str
    height_m: float
    floor: FloatArray
    eyes: FloatArray
    facing_deg: FloatArray


def bodies_json(take: Take, world: WorldSpec) -> str:
    """Return the bodies of a take's subjects as the text that is written."""
    return canonical(
        {
            "subjects": {
                subject.name: {
                    "height_m": subject.height_m,
                    "floor": _packed(subject.at(take.times_s, 0.0), world),
                    "eyes": _packed(subject.at(take.times_s, 1.0), world),
                    "facing_deg": _text(np.degrees(facing_at(subject, take.times_s))),
                }
                for subject in take.shot.subjects
            }
        }
    )


def read_bodies(table: pa.Table) -> tuple[Body, ...]:
    """Return the bodies of a take's subjects, as its table was written.

    A take that was written before facings were kept has none that is known.
    """
    written = json.loads(table.schema.metadata[BODIES_KEY])
    bodies = []
    for name, one in written["subjects"].items():
        floor = _numbers(one["floor"]).reshape(-1, 3)
        facing = one.get("facing_deg")
        bodies.append(
            Body(
                name=name,
                height_m=float(one["height_m"]),
                floor=floor,
                eyes=_numbers(one["eyes"]).reshape(-1, 3),
                facing_deg=(
                    np.full(len(floor), np.nan) if facing is None else _numbers(facing)
                ),
            )
        )
    return tuple(bodies)


def facing_at(subject: Subject, times_s: FloatArray) -> FloatArray:
    """Return where a subject faces, (k,) [rad]; NaN where no sample tells.

    Args:
        subject: as sampled; between samples that tell, its facing turns evenly.
        times_s: (k,) [s].
    """
    known = np.isfinite(subject.facing_rad)
    if not known.any():
        return np.full(len(times_s), np.nan)
    angles = np.unwrap(subject.facing_rad[known])
    turned: FloatArray = np.interp(times_s, subject.times_s[known], angles)
    return turned


def _packed(points_m: FloatArray, world: WorldSpec) -> str:
    return _text(world.scene(points_m))


def _text(values: FloatArray) -> str:
    return b64encode(values.astype("<f4").tobytes()).decode()


def _numbers(text: str) -> FloatArray:
    return np.frombuffer(b64decode(text), dtype="<f4").astype(np.float64)
