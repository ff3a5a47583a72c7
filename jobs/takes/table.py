"""A take as a table: one row a sample, in the axes and units of the scene.

Columns are in scene axes and units unless their name has a unit. `subject_u`,
`subject_v`, `subject_size` and what is said of the head are NaN while the subject is
hidden, by its data or by what `hidden_by` names; from `crown_u` to `headroom` it is of
the final picture, shake included. `dof_far_m` is
+inf from the hyperfocal distance on. `subject_x`, `subject_y` and `subject_z` are the
point aimed at, as acted, hidden or not. The metadata key `carrellata` of the schema is
a JSON object that says the rest; `carrellata.bodies` holds what `bodies` says.
"""

from collections.abc import Iterator, Mapping, Sequence
from math import degrees
from typing import Any

import numpy as np
import pyarrow as pa

from ...solver.action.claim import ClaimOutcome
from ...solver.action.framing import primary_points
from ...solver.arrays import IntArray
from ...solver.cuts.end import ShotEnds
from ...solver.frame.hidden import hider_names
from ...solver.measures.on_stage import Measures
from ...solver.take import Take
from ..job.shot import ShotSpec
from ..job.spec import JobFile
from ..job.world import WorldSpec
from .bodies import BODIES_KEY, bodies_json
from .describe import described
from .keys import Keys
from .metadata import METADATA_KEY

_TEXT = pa.dictionary(pa.int32(), pa.string())
_REAL = pa.float64()
_TRUTH = pa.bool_()

HIDDEN_BY = "hidden_by"  # null where nothing stands before the subject

# Unit of each column: "unit" is the scene's unit of length, "" is none.
_COLUMNS: tuple[tuple[str, pa.DataType, str], ...] = (
    ("sequence", _TEXT, ""),
    ("shot", _TEXT, ""),
    ("frame", pa.int32(), "frame"),
    ("sub", pa.int16(), ""),
    ("time_s", _REAL, "s"),
    ("handle", _TRUTH, ""),
    *((name, _REAL, "unit") for name in ("x", "y", "z")),
    *((f"{name}_deg", _REAL, "deg") for name in ("pan", "tilt", "roll")),
    *((f"shake_{name}_m", _REAL, "m") for name in ("x", "y", "z")),
    *((f"shake_{name}_deg", _REAL, "deg") for name in ("pan", "tilt", "roll")),
    *((f"cam_{name}", _REAL, "unit") for name in ("x", "y", "z")),
    *((name, _REAL, "") for name in ("qx", "qy", "qz", "qw")),
    ("focal_mm", _REAL, "mm"),
    ("focus_m", _REAL, "m"),
    ("stop", _REAL, "f-number"),
    ("dof_near_m", _REAL, "m"),
    ("dof_far_m", _REAL, "m"),
    ("soft", _TRUTH, ""),
    ("rail_m", _REAL, "m"),
    ("rail_speed", _REAL, "m/s"),
    ("rail_accel", _REAL, "m/s2"),
    ("pan_speed", _REAL, "deg/s"),
    ("pan_accel", _REAL, "deg/s2"),
    ("tilt_speed", _REAL, "deg/s"),
    ("tilt_accel", _REAL, "deg/s2"),
    ("subject", _TEXT, ""),
    *((f"subject_{name}", _REAL, "unit") for name in ("x", "y", "z")),
    ("subject_u", _REAL, "half frame widths"),
    ("subject_v", _REAL, "half frame heights"),
    ("subject_size", _REAL, "frame heights"),
    ("aim_u", _REAL, "half frame widths"),
    ("aim_v", _REAL, "half frame heights"),
    *((name, _TRUTH, "") for name in ("in_frame", "body_in_frame", "in_safe")),
    ("crown_u", _REAL, "half frame widths"),
    ("crown_v", _REAL, "half frame heights"),
    ("chin_u", _REAL, "half frame widths"),
    ("chin_v", _REAL, "half frame heights"),
    ("head_in_frame", _TRUTH, ""),
    ("headroom", _REAL, "frame heights"),
    (HIDDEN_BY, _TEXT, ""),
    *((f"decided_{name}", _TRUTH, "") for name in ("pan", "tilt", "dolly")),
)

TAKE_FIELDS = pa.schema(
    [pa.field(name, kind, nullable=name == HIDDEN_BY) for name, kind, _ in _COLUMNS]
)
UNITS: dict[str, str] = {name: unit for name, _, unit in _COLUMNS if unit}
TEXTS = [name for name, kind, _ in _COLUMNS if kind == _TEXT]
ORDERED = ["frame", "time_s"]  # what readers look for a part of a take by


def take_rows(
    take: Take,
    *,
    job: JobFile,
    spec: ShotSpec,
    keys: Keys,
    measures: Measures,
    ends: ShotEnds,
    outcomes: Sequence[ClaimOutcome] = (),
) -> pa.RecordBatchReader:
    """Return a take as the table that is written, to be read once.

    Args:
        take: as operated, Y up in metres and radians.
        job: gives the sequence, its rate, axes and units.
        spec: the shot.
        keys: digests of what the take was made from.
        measures: of the take, flat, finite.
        ends: of the take's cut.
        outcomes: of the shot's claims.

    Returns:
        Columns `TAKE_FIELDS`, one row a sample, in order of time, as one batch.
    """
    metadata = described(
        take,
        job=job,
        spec=spec,
        keys=keys,
        units=UNITS,
        measures=measures,
        ends=ends,
        outcomes=outcomes,
    ).json()
    schema = TAKE_FIELDS.with_metadata(
        {METADATA_KEY: metadata, BODIES_KEY: bodies_json(take, job.world)}
    )
    # Of a long take the text is large, and so is what columns are computed from.
    del metadata
    columns: dict[str, pa.Array] = {
        "sequence": _same_text(job.sequence, len(take.subject)),
        "shot": _same_text(spec.name, len(take.subject)),
        "subject": _text([one.name for one in take.shot.subjects], take.subject),
        HIDDEN_BY: _text(hider_names(take.shot.stage, take.shot.subjects), take.hider),
    }
    for some in (
        _clock(take),
        *_pose(take, job.world),
        _optics(take),
        _motion(take),
        _picture(take),
        _aimed_at(take, job.world),
    ):
        for name, values in some.items():
            columns[name] = pa.array(values)
    batch = pa.RecordBatch.from_arrays(
        [columns[name] for name in TAKE_FIELDS.names], schema=schema
    )
    return pa.RecordBatchReader.from_batches(schema, [batch])


def _text(words: Sequence[str], which: IntArray) -> pa.DictionaryArray:
    """Return words by their indices (n,), numbered as they first appear.

    An index below 0 is none. A word that is there twice is one.
    """
    none = which < 0
    if len(words) == 1 and not none.any():
        return _same_text(words[0], len(which))
    first_of = np.array([words.index(word) for word in words])
    used, first = np.unique(first_of[which[~none]], return_index=True)
    order = used[np.argsort(first)]
    numbers = np.zeros(len(words), dtype=np.int32)
    numbers[order] = np.arange(len(order))
    places = np.zeros(len(which), dtype=np.int32)
    places[~none] = numbers[first_of[which[~none]]]
    return pa.DictionaryArray.from_arrays(
        pa.array(places, mask=none), pa.array([words[k] for k in order], pa.string())
    )


def _same_text(word: str, n_samples: int) -> pa.DictionaryArray:
    """Return one word for every sample."""
    places = np.zeros(n_samples, dtype=np.int32)
    return pa.DictionaryArray.from_arrays(places, pa.array([word], pa.string()))


def _clock(take: Take) -> Mapping[str, Any]:
    return {
        "frame": take.frame.astype(np.int32),
        "sub": take.sub.astype(np.int16),
        "time_s": take.times_s,
        "handle": take.handle,
    }


def _pose(take: Take, world: WorldSpec) -> Iterator[Mapping[str, Any]]:
    base = world.scene(take.base)
    yield {name: base[:, c] for c, name in enumerate("xyz")}
    shake = take.shake
    yield {
        "pan_deg": np.degrees(take.pan[:, 0]),
        "tilt_deg": np.degrees(take.tilt[:, 0]),
        "roll_deg": np.full(len(base), degrees(take.shot.roll_rad)),
        "shake_x_m": shake.x,
        "shake_y_m": shake.y,
        "shake_z_m": shake.z,
        "shake_pan_deg": np.degrees(shake.pan),
        "shake_tilt_deg": np.degrees(shake.tilt),
        "shake_roll_deg": np.degrees(shake.roll),
    }
    final = world.scene(take.place)
    yield {f"cam_{name}": final[:, c] for c, name in enumerate("xyz")}
    turn = world.scene_turns(take.turn)
    yield {f"q{name}": turn[:, c] for c, name in enumerate("xyzw")}


def _optics(take: Take) -> Mapping[str, Any]:
    n_samples = len(take.times_s)
    return {
        "focal_mm": np.full(n_samples, take.shot.lens.focal_mm),
        "focus_m": take.focus_m,
        "stop": np.full(n_samples, take.shot.stop),
        "dof_near_m": take.near_m,
        "dof_far_m": take.far_m,
        "soft": take.soft,
    }


def _motion(take: Take) -> Mapping[str, Any]:
    return {
        "rail_m": take.rail[:, 0],
        "rail_speed": take.rail[:, 1],
        "rail_accel": take.rail[:, 2],
        "pan_speed": np.degrees(take.pan[:, 1]),
        "pan_accel": np.degrees(take.pan[:, 2]),
        "tilt_speed": np.degrees(take.tilt[:, 1]),
        "tilt_accel": np.degrees(take.tilt[:, 2]),
        "decided_pan": take.decided(take.pan_plans),
        "decided_tilt": take.decided(take.tilt_plans),
        "decided_dolly": take.decided(take.dolly_plans),
    }


def _picture(take: Take) -> Mapping[str, Any]:
    return {
        "subject_u": take.u,
        "subject_v": take.v,
        "subject_size": take.size,
        "aim_u": take.aim_u,
        "aim_v": take.aim_v,
        "in_frame": take.in_frame,
        "body_in_frame": take.body_in_frame,
        "in_safe": take.in_safe,
        "crown_u": take.crown_u,
        "crown_v": take.crown_v,
        "chin_u": take.chin_u,
        "chin_v": take.chin_v,
        "head_in_frame": take.head_in_frame,
        "headroom": take.headroom,
    }


def _aimed_at(take: Take, world: WorldSpec) -> Mapping[str, Any]:
    fractions = np.array([framing.aim for framing in take.shot.framings])
    shot = take.shot
    points = primary_points(shot.subjects, shot.framings, take.times_s, fractions)
    points = world.scene(points)
    return {f"subject_{name}": points[:, c] for c, name in enumerate("xyz")}
