"""What came of a job, as values: takes, findings, and why a shot has none."""

import json
import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from ..errors import Fault, ShotDataError
from ..takes.metadata import METADATA_KEY, take_metadata
from ..takes.sequence_table import WITHOUT_TAKE, ShotRow
from .measures import TakeMeasures


@dataclass(frozen=True, kw_only=True, slots=True)
class TakeFinding:
    """One thing that a shot, or the cut into it, is faulted for.

    Attributes:
        name: of the rule, as a job accepts it.
        severity: `note`, `warning` or `fault`.
        subject_of: `shot` or `cut`.
        text: one sentence.
        source: of the rule.
        numbers: what was found; units in the names.
        accepted_by: who lets it stand; None where nobody does.
    """

    name: str
    severity: str
    subject_of: str
    text: str
    source: str
    numbers: Mapping[str, float | str]
    accepted_by: str | None


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class TakeResult:
    """One take: a camera curve, a row a sample.

    Attributes:
        table: its columns, in scene axes and units unless a name has a unit; what each
            means is said in `jobs/takes/README.md`.
    """

    table: pa.Table

    @property
    def shot(self) -> str:
        """Name of its shot."""
        return str(self.table["shot"][0].as_py())

    @property
    def take_key(self) -> str:
        """Its name, 64 digits: equal inputs give an equal key and equal bytes."""
        return take_metadata(self.table).keys.take

    @property
    def measures(self) -> TakeMeasures:
        """What it is judged by."""
        return TakeMeasures.of(take_metadata(self.table).measures)

    @property
    def setup(self) -> dict[str, Any]:
        """Rig, lens, height, side and view, as they stand in a job."""
        return take_metadata(self.table).setup.plain()

    @property
    def about(self) -> dict[str, Any]:
        """All that its file says beside the columns: keys, units, gate, crew, rail."""
        found: dict[str, Any] = json.loads(self.table.schema.metadata[METADATA_KEY])
        return found

    def to_numpy(self) -> dict[str, NDArray[Any]]:
        """Return the columns by name, (n,) each; numbers are not copied."""
        return {name: self._column(name) for name in self.table.column_names}

    def to_pandas(self) -> Any:
        """Return a data frame, a row a sample; needs pandas."""
        return self.table.to_pandas()

    def to_parquet(self) -> bytes:
        """Return the file of the take, the same bytes as the command writes."""
        from ..takes.parquet_form import take_bytes

        return take_bytes(self.table)

    def write(self, path: str | os.PathLike[str]) -> None:
        """Write the file of the take, whole or not at all.

        Raises:
            OSError: it could not be written; what was there still is.
        """
        from ..places.atomic import write_whole

        write_whole(Path(path), self.to_parquet())

    def _column(self, name: str) -> NDArray[Any]:
        column = self.table[name]
        if pa.types.is_dictionary(column.type):
            return np.asarray(column.to_pylist(), dtype=object)
        array: NDArray[Any] = column.to_numpy()
        return array

    def _repr_html_(self) -> str:
        from .pictures import take_html

        return take_html(self)


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class ShotResult:
    """What came of one shot.

    Attributes:
        name: of the shot.
        status: `solved`, `locked`, `kept`, `no_setup` or `failed`.
        take: None where there is none.
        findings: of the shot and of the cut into it.
        error: why there is no take; None where there is one.
        setup: that was taken, or asked for.
        why: what an open setup was chosen for; None where the job fixes it.
        runner_up: the next best setup; None where there is none.
        claims: what came of each claim.
    """

    name: str
    status: str
    take: TakeResult | None
    findings: tuple[TakeFinding, ...]
    error: str | None
    setup: dict[str, Any]
    why: dict[str, Any] | None
    runner_up: dict[str, Any] | None
    claims: tuple[dict[str, Any], ...]

    @property
    def measures(self) -> TakeMeasures:
        """What the take is judged by; nothing but None where there is none."""
        return TakeMeasures() if self.take is None else self.take.measures

    def need(self) -> TakeResult:
        """Return the take.

        Raises:
            ShotDataError: there is none; it says why.
        """
        if self.take is not None:
            return self.take
        raise ShotDataError(self.name, _faults(self.error or "has no take"))

    def _repr_html_(self) -> str:
        from .pictures import shot_html

        return shot_html(self)


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class SequenceResult:
    """What came of a job.

    Attributes:
        name: of the sequence.
        shots: that were asked for, in the order of the job.
        folder: where takes and review lie; None where nothing was written.
        review: address of the review's index; None where nothing was written.
        notes: what seems to be wrong with units, axes and rates of what was solved, as
            `check` tells it.
    """

    name: str
    shots: tuple[ShotResult, ...]
    folder: str | None = None
    review: str | None = None
    notes: tuple[str, ...] = ()

    def __getitem__(self, name: str) -> ShotResult:
        """Return a shot by name, in any case of letters.

        Raises:
            KeyError: it was not asked for.
        """
        found = {one.name.lower(): one for one in self.shots}
        return found[name.lower()]

    def __iter__(self) -> Iterator[ShotResult]:
        """Yield the shots in the order of the job."""
        return iter(self.shots)

    def __len__(self) -> int:
        """Return how many shots there are."""
        return len(self.shots)

    @property
    def failed(self) -> tuple[ShotResult, ...]:
        """Shots without a take."""
        return tuple(one for one in self.shots if one.take is None)

    def _repr_html_(self) -> str:
        from .pictures import sequence_html

        return sequence_html(self)


def shot_result(row: ShotRow, table: pa.Table | None) -> ShotResult:
    """Return a row of a sequence and its take as a result."""
    taken = row.status not in WITHOUT_TAKE and table is not None
    return ShotResult(
        name=row.shot,
        status=row.status,
        take=TakeResult(table=table) if taken else None,
        findings=tuple(map(_finding, json.loads(row.findings))),
        error=None if taken else row.error,
        setup=json.loads(row.setup),
        why=_object(row.why),
        runner_up=_object(row.runner_up),
        claims=tuple(json.loads(row.claims)),
    )


def _finding(one: Mapping[str, Any]) -> TakeFinding:
    accepted = one["accepted"]
    return TakeFinding(
        name=one["name"],
        severity=one["severity"],
        subject_of=one["of"],
        text=one["text"],
        source=one["source"],
        numbers=one["numbers"],
        accepted_by=None if accepted is None else accepted["by"],
    )


def _object(text: str | None) -> dict[str, Any] | None:
    if text is None:
        return None
    found: dict[str, Any] = json.loads(text)
    return found


def _faults(error: str) -> tuple[Fault, ...]:
    """Return the lines of a row's error as faults, each with its path."""
    parts = [line.partition(": ") for line in error.splitlines()]
    return tuple(
        Fault(path=path, message=message) if mark else Fault(path="", message=path)
        for path, mark, message in parts
    )
