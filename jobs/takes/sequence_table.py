"""`sequence.parquet`: a row a shot, what came of it and what it is judged by."""

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from ...solver.measures.measure import Measures
from ..errors import InputError
from ..job.spec import JobFile
from ..places.atomic import alone_in, write_whole
from ..places.parquet import read_checked
from ..places.place import Place
from .continuity import findings_of
from .keys import canonical

WITHOUT_TAKE = ("failed", "no_setup")
"""Statuses of shots that have no take of tonight."""

SEQUENCE_SCHEMA = "carrellata.sequence/1"
_METADATA_KEY = b"carrellata"

_COUNTS = ("frames", "refused_plans", "whip_plans", "reversals", "moving_axes")
MEASURES = (
    "frames",
    "seconds",
    "seen",
    "in_frame",
    "body_in_frame",
    "in_safe",
    "size_kept",
    "angle_kept",
    "drift_rms",
    "drift_max",
    "lag_s",
    "pan_decisions_per_s",
    "tilt_decisions_per_s",
    "dolly_decisions_per_s",
    "refused_plans",
    "whip_plans",
    "reversals",
    "moving_axes",
    "dolly_m",
    "dolly_max_speed_m_s",
    "dolly_max_accel_m_s2",
    "pan_range_deg",
    "pan_max_speed_deg_s",
    "pan_max_accel_deg_s2",
    "pan_speed_used",
    "tilt_range_deg",
    "tilt_max_speed_deg_s",
    "closest_m",
    "soft",
    "strobing_deg_s",
    "shake_pan_rms_deg",
    "shake_tilt_rms_deg",
)

_TEXTS = (
    "sequence",
    "scene",
    "shot",
    "status",
    "take_key",
    "judge_key",
    "error",
    "setup",
    "why",
    "runner_up",
    "crew",
    "purpose",
    "ends",
    "findings",
)
SEQUENCE_FIELDS = pa.schema(
    [
        *(pa.field(name, pa.string()) for name in _TEXTS),
        *(
            pa.field(name, pa.int64() if name in _COUNTS else pa.float64())
            for name in MEASURES
        ),
    ]
)


@dataclass(frozen=True, kw_only=True, slots=True)
class ShotRow:
    """What came of one shot.

    Attributes:
        sequence: name of the sequence.
        scene: name of its scene.
        shot: its name.
        status: `solved`, `failed`, `no_setup` where nothing holds what is asked, or
            `kept` where an earlier take still answers.
        take_key: of its current take; None where it failed.
        judge_key: of its judgement; None where it failed.
        error: its faults, one a line; None where it has none.
        setup: JSON of rig, lens, height and view.
        why: JSON of what the setup was chosen for; None where the job fixes it.
        runner_up: JSON of the next best setup; None where there is none.
        crew: name of the preset.
        purpose: free text of the job.
        ends: JSON of how its cut begins and ends [m, rad, Y up], by which cuts are
            judged; None where there is no take.
        findings: JSON list of what the take and the cut into it are faulted for, by
            `continuity`; cuts are judged when rows are put into a sequence.
        measures: of the take, flat; empty where the shot failed.
    """

    sequence: str
    scene: str
    shot: str
    status: str
    take_key: str | None = None
    judge_key: str | None = None
    error: str | None = None
    setup: str
    why: str | None = None
    runner_up: str | None = None
    crew: str
    purpose: str
    ends: str | None = None
    findings: str = "[]"
    measures: Measures = field(default_factory=dict)

    def plain(self) -> dict[str, Any]:
        """Return the row as one flat table of plain values."""
        texts = {name: getattr(self, name) for name in _TEXTS}
        return {**texts, **{name: self.measures.get(name) for name in MEASURES}}


@dataclass(frozen=True, kw_only=True, slots=True)
class CutClock:
    """How a sequence's frames are counted in its cut.

    Attributes:
        timecode: label of the first frame of the cut; None where the job has none.
        frames: first and last cut frame of every shot, in the order of the cut.
    """

    timecode: str | None
    frames: Mapping[str, tuple[int, int]]

    def record(self, shot: str, frame: int) -> int | None:
        """Return the number of a shot's frame in the cut, from 0; None if unknown."""
        start = 0
        for name, (first, last) in self.frames.items():
            if name == shot:
                return start + frame - first
            start += last - first + 1
        return None


def read_sequence(path: Place) -> list[ShotRow]:
    """Read the rows of a sequence, in the order of its job.

    Raises:
        InputError: the file is missing, damaged, or of another form.
    """
    table = read_checked(path)
    if not table.schema.equals(SEQUENCE_FIELDS):
        raise InputError(str(path), f"is not of the form {SEQUENCE_SCHEMA}")
    return [_row(values) for values in table.to_pylist()]


def merge_sequence(
    path: Place, job: JobFile, rows: Iterable[ShotRow]
) -> tuple[ShotRow, ...]:
    """Put rows into a sequence's file, in the job's order, and judge its cuts.

    Rows of other shots stay as they are; those of shots that the job does not have
    go. A damaged file is replaced. Runs that share the folder wait for each other.
    Every row gets the findings that it has among its neighbours of now.

    Returns:
        All rows as they were written.

    Raises:
        OSError: it could not be written; the file at `path` is as it was.
    """
    with alone_in(path.parent):
        try:
            known = {row.shot: row for row in read_sequence(path)}
        except InputError:
            known = {}
        known |= {row.shot: row for row in rows}
        ordered = [known[spec.name] for spec in job.shots if spec.name in known]
        judged = with_findings(job, ordered)
        write_whole(path, _bytes(job, judged))
        return judged


def with_findings(job: JobFile, rows: Iterable[ShotRow]) -> tuple[ShotRow, ...]:
    """Return the rows of a sequence, in their order, with what they are faulted for."""
    given = tuple(rows)
    found = findings_of(
        job,
        ends={row.shot: row.ends for row in given},
        measures={row.shot: row.measures for row in given},
        earlier={row.shot: row.findings for row in given},
    )
    return tuple(replace(row, findings=found[row.shot]) for row in given)


def read_cut_clock(path: Place) -> CutClock:
    """Read how the frames of a sequence's shots are counted in its cut.

    Raises:
        InputError: the file is missing, damaged, or of another form.
    """
    table = read_checked(path)
    if not table.schema.equals(SEQUENCE_FIELDS):
        raise InputError(str(path), f"is not of the form {SEQUENCE_SCHEMA}")
    said = json.loads((table.schema.metadata or {}).get(_METADATA_KEY, b"{}"))
    return CutClock(
        timecode=said.get("timecode"),
        frames={name: (first, last) for name, first, last in said.get("cut", [])},
    )


def read_people(path: Place) -> tuple[str, ...]:
    """Read the names of all subjects of a sequence, in the order of its job.

    Raises:
        InputError: the file is missing or damaged.
    """
    metadata = read_checked(path).schema.metadata or {}
    said = json.loads(metadata.get(_METADATA_KEY, b"{}"))
    return tuple(said.get("people", ()))


def _bytes(job: JobFile, rows: Iterable[ShotRow]) -> bytes:
    said = {
        "schema": SEQUENCE_SCHEMA,
        "timecode": job.timecode,
        "cut": [[spec.name, *spec.frames] for spec in job.shots],
        "people": list(
            dict.fromkeys(one.name for spec in job.shots for one in spec.subjects)
        ),
    }
    table = pa.Table.from_pylist(
        [row.plain() for row in rows],
        schema=SEQUENCE_FIELDS.with_metadata({_METADATA_KEY: canonical(said)}),
    )
    buffer = pa.BufferOutputStream()
    pq.write_table(table, buffer, compression="zstd", write_page_checksum=True)
    data: bytes = buffer.getvalue().to_pybytes()
    return data


def _row(values: dict[str, Any]) -> ShotRow:
    texts = {name: values[name] for name in _TEXTS}
    failed = values["status"] in WITHOUT_TAKE
    measures = {} if failed else {name: values[name] for name in MEASURES}
    return ShotRow(**texts, measures=measures)
