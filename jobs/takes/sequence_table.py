"""`sequence.parquet`: a row a shot, what came of it and what it is judged by."""

import json
from base64 import b64decode, b64encode
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from ...solver.measures.on_stage import Measures
from ..errors import InputError
from ..places.parquet import read_checked
from ..places.place import Place
from .continuity import CutEntry, PlainFinding, findings_of, news_of_cuts, plain_fields
from .keys import canonical

WITHOUT_TAKE = ("failed", "no_setup")
"""Statuses of shots that have no take of tonight."""

SEQUENCE_SCHEMA = "carrellata.sequence/1"
_METADATA_KEY = b"carrellata"
_BEFORE_KEY = b"carrellata.before"

_COUNTS = (
    "frames",
    "refused_plans",
    "whip_plans",
    "reversals",
    "pan_reversals",
    "tilt_reversals",
    "moving_axes",
)
NAMES_IN_THE_WAY = ("hidden_by", "sight_forbidden", "rig_through")
"""Measures that name what is in the way; None where nothing is."""
MEASURES = (
    "frames",
    "seconds",
    "seen",
    "hidden",
    "head_in_frame",
    "others_in_frame",
    "headroom_p10",
    "headroom_p50",
    "headroom_p90",
    "in_frame",
    "body_in_frame",
    "in_safe",
    "size_kept",
    "angle_kept",
    "drift_rms",
    "drift_max",
    "onset_lag_s",
    "pan_ripple",
    "pan_ripple_deg_s",
    "tilt_ripple",
    "tilt_ripple_deg_s",
    "pan_overshoot_deg",
    "dolly_overshoot_m",
    "pan_decisions_per_s",
    "tilt_decisions_per_s",
    "dolly_decisions_per_s",
    "refused_plans",
    "whip_plans",
    "reversals",
    "pan_reversals",
    "tilt_reversals",
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
    "asked_m",
    "nearest_m",
    "furthest_m",
    "rig_off_floor_m",
    "rig_off_height_m",
    "rig_step_m",
    *NAMES_IN_THE_WAY,
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
    "claims",
    "brings",
    "takes",
)
_LISTS = ("claims", "brings", "takes")
"""Texts that tables written before they were kept do not have: JSON lists."""


def _kind(name: str) -> pa.DataType:
    if name in NAMES_IN_THE_WAY:
        return pa.string()
    return pa.int64() if name in _COUNTS else pa.float64()


SEQUENCE_FIELDS = pa.schema(
    [
        *(pa.field(name, pa.string()) for name in _TEXTS),
        *(pa.field(name, _kind(name)) for name in MEASURES),
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
        claims: JSON list of of each claim what came of it, by `ClaimOutcome.plain`.
        brings: JSON list of what is new to a viewer after the cut into it, by `News`;
            judged with the findings of cuts.
        takes: JSON list of the takes that were made, by `plain_takes`; empty where the
            job asks for one.
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
    claims: str = "[]"
    brings: str = "[]"
    takes: str = "[]"
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


@dataclass(frozen=True, kw_only=True, slots=True)
class SequenceTable:
    """All that the file of a sequence says, of one moment.

    Attributes:
        clock: how frames are counted.
        entries: what the job says of every shot, in the order of the cut.
        rows: of the shots that have any, in the same order.
        before: what those were before their last solve, in the order of that time;
            shots that were solved once are not there.
    """

    clock: CutClock
    entries: tuple[CutEntry, ...]
    rows: tuple[ShotRow, ...]
    before: tuple[ShotRow, ...]

    def bytes(self) -> bytes:
        """Return the file; equal tables give equal bytes."""
        said = {
            "schema": SEQUENCE_SCHEMA,
            "timecode": self.clock.timecode,
            "cut": [[name, *frames] for name, frames in self.clock.frames.items()],
            "entries": [plain_fields(entry) for entry in self.entries],
        }
        metadata = {_METADATA_KEY: canonical(said).encode()}
        if self.before:
            metadata[_BEFORE_KEY] = _packed([row.plain() for row in self.before])
        table = pa.Table.from_pylist(
            [row.plain() for row in self.rows],
            schema=SEQUENCE_FIELDS.with_metadata(metadata),
        )
        buffer = pa.BufferOutputStream()
        pq.write_table(table, buffer, compression="zstd", write_page_checksum=True)
        data: bytes = buffer.getvalue().to_pybytes()
        return data


def read_table(path: Place) -> SequenceTable:
    """Read the file of a sequence.

    Raises:
        InputError: it is missing, damaged, or of another form.
    """
    table = _with_lists(read_checked(path))
    if not table.schema.equals(SEQUENCE_FIELDS):
        raise InputError(str(path), f"is not of the form {SEQUENCE_SCHEMA}")
    said = json.loads((table.schema.metadata or {}).get(_METADATA_KEY, b"{}"))
    return SequenceTable(
        clock=CutClock(
            timecode=said.get("timecode"),
            frames={name: (first, last) for name, first, last in said.get("cut", [])},
        ),
        entries=tuple(CutEntry(**entry) for entry in said.get("entries", [])),
        rows=tuple(map(_row, table.to_pylist())),
        before=tuple(map(_row, plain_before(table))),
    )


def _with_lists(table: pa.Table) -> pa.Table:
    """Return a table with the lists that an earlier one does not have, empty."""
    for name in _LISTS:
        if name not in table.column_names and "findings" in table.column_names:
            empty = pa.array(["[]"] * len(table), pa.string())
            at = SEQUENCE_FIELDS.get_field_index(name)
            table = table.add_column(min(at, table.num_columns), name, empty)
    return table


def plain_before(table: pa.Table) -> list[dict[str, Any]]:
    """Return the rows before the last solve of each shot, as `ShotRow.plain` has them.

    Args:
        table: of a sequence, as it was read.
    """
    packed = (table.schema.metadata or {}).get(_BEFORE_KEY)
    if packed is None:
        return []
    source = pa.BufferReader(b64decode(packed))
    with pa.CompressedInputStream(source, "zstd") as stream:
        rows: list[dict[str, Any]] = json.loads(stream.read())
    return rows


def read_sequence(path: Place) -> list[ShotRow]:
    """Read the rows of a sequence, in the order of its job; see `read_table`."""
    return list(read_table(path).rows)


def keys_side_by_side(path: Place) -> frozenset[str]:
    """Return the keys of all takes that a sequence's rows show side by side.

    Raises:
        InputError: its table is damaged or of another form; none where there is none.
    """
    if not path.is_file():
        return frozenset()
    made = [one for row in read_sequence(path) for one in json.loads(row.takes)]
    return frozenset(one["take_key"] for one in made)


def with_findings(
    entries: Iterable[CutEntry],
    rows: Iterable[ShotRow],
    covered: Mapping[str, Sequence[PlainFinding]] | None = None,
) -> tuple[ShotRow, ...]:
    """Return the rows of a sequence, in their order, with what they are faulted for.

    Args:
        entries: of the shots, in the order of the cut.
        rows: of some of them.
        covered: of cameras, what they are faulted for in the cut of their action.
    """
    given, cut = tuple(rows), tuple(entries)
    ends = {row.shot: row.ends for row in given}
    claims = {row.shot: row.claims for row in given}
    found = findings_of(
        cut,
        ends=ends,
        measures={row.shot: row.measures for row in given},
        earlier={row.shot: row.findings for row in given},
        claims=claims,
        covered=covered,
    )
    news = news_of_cuts(cut, ends, claims)
    return tuple(
        replace(row, findings=found[row.shot], brings=news[row.shot]) for row in given
    )


def _packed(rows: list[dict[str, Any]]) -> bytes:
    """Return plain values as text that a Parquet file's metadata can hold."""
    sink = pa.BufferOutputStream()
    with pa.CompressedOutputStream(sink, "zstd") as stream:
        stream.write(canonical(rows).encode())
    return b64encode(sink.getvalue().to_pybytes())


def _row(values: dict[str, Any]) -> ShotRow:
    texts = {name: values[name] for name in _TEXTS if name not in _LISTS}
    texts |= {name: values.get(name) or "[]" for name in _LISTS}
    failed = values["status"] in WITHOUT_TAKE
    measures = {} if failed else {name: values[name] for name in MEASURES}
    return ShotRow(**texts, measures=measures)
