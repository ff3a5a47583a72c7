"""Makes a shot's take: what is written of it comes from here and what this imports."""

from typing import NamedTuple

import pyarrow as pa

from ...solver.action.claim import ClaimOutcome
from ...solver.claims.everyone import frames_of_take
from ...solver.claims.measured import outcomes_of
from ...solver.cuts.end import ShotEnds, shot_ends
from ...solver.measures.measure import measure
from ...solver.measures.on_stage import Measures
from ...solver.take import Take, operate
from ..job.spec import JobFile
from ..takes.keys import Keys
from ..takes.table import take_rows
from .shots import Prepared


class Solved(NamedTuple):
    """A take as it is written, to be read once, and what stands in its row too."""

    rows: pa.RecordBatchReader
    measures: Measures
    ends: ShotEnds
    outcomes: tuple[ClaimOutcome, ...]


def solve_whole(job: JobFile, prepared: Prepared, keys: Keys) -> Solved:
    """Return a shot's take; nothing is read or written.

    Raises:
        SolverError: the solver cannot work with the shot's data.
    """
    take = operate(prepared.shot)
    measures = measure(take)
    ends, outcomes = _told(take)
    rows = take_rows(
        take,
        job=job,
        spec=prepared.spec,
        keys=keys,
        measures=measures,
        ends=ends,
        outcomes=outcomes,
    )
    return Solved(rows, measures, ends, outcomes)


def _told(take: Take) -> tuple[ShotEnds, tuple[ClaimOutcome, ...]]:
    """Return how a take begins and ends, and what came of its claims.

    What its frames show of everybody is large, and let go here.
    """
    table = frames_of_take(take)
    return shot_ends(take, table), outcomes_of(take.shot.claims, table)


def solve_prepared(job: JobFile, prepared: Prepared, keys: Keys) -> pa.Table:
    """Return the table of a shot's take; see `solve_whole`."""
    return solve_whole(job, prepared, keys).rows.read_all()
