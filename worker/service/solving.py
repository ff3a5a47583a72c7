"""What a solving process does with the body of a request.

`solve_request` is the one way from a checked job to the table of its take. Around it:
parsing, the limits of the token, and what is kept from one request to the next so that
a changed number solves again and reads nothing again. What is kept is kept by project:
no project can tell from the time of an answer what another has asked for.
"""

from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Generic, TypeVar

import pyarrow as pa

from ...jobs.errors import Fault, InputError, JobError, ShotDataError
from ...jobs.job.load import tables_of_json
from ...jobs.job.parse import parse_job
from ...jobs.job.spec import JobFile
from ...jobs.run.run import take_alone
from ...jobs.run.solve_shot import Work
from ...jobs.subjects.read import track_of_source
from ...jobs.subjects.reference import SubjectReference
from ...jobs.subjects.request import SubjectRequest
from ...jobs.subjects.track import SubjectTrack
from ...jobs.takes.judgement import Judgement
from ...jobs.takes.keys import Keys
from ...jobs.takes.metadata import take_metadata
from ...jobs.takes.store import Store
from ...solver.errors import SolverError
from .limits import Limits, count_faults, take_faults
from .problems import Refusal, refusal_of
from .results import rendered, stream_bytes
from .rules import Rules

T = TypeVar("T")

_NOWHERE = Path("/dev/null")  # the confined reader knows its own folder
_MOST_FAULTY = 200  # shots; nobody reads more
_KEPT_TRACKS = 64
_KEPT_TABLES = 32
_LONG_TRACK = 100_000  # samples; longer ones are not kept
_LARGE_TABLE = 2 * 2**20  # bytes; larger ones are not kept


@dataclass(frozen=True, kw_only=True, slots=True)
class SolvedTake:
    """A take on its way to the client.

    Attributes:
        take_key: of the take.
        stream: the take as an Arrow stream.
        form: the form that was asked for.
        body: the take in that form.
        from_files: whether subjects came from files, which may change.
    """

    take_key: str
    stream: bytes
    form: str
    body: bytes
    from_files: bool


@dataclass(kw_only=True, slots=True)
class LastUsed(Generic[T]):
    """The values that were used last, at most `size` of them."""

    size: int
    values: OrderedDict[Hashable, T] = field(default_factory=OrderedDict)

    def get(self, key: Hashable) -> T | None:
        """Return a value and make it the last used."""
        if key in self.values:
            self.values.move_to_end(key)
        return self.values.get(key)

    def put(self, key: Hashable, value: T) -> None:
        """Keep a value; the one used longest ago may go."""
        self.values[key] = value
        self.values.move_to_end(key)
        while len(self.values) > self.size:
            self.values.popitem(last=False)


_tracks: LastUsed[SubjectTrack] = LastUsed(size=_KEPT_TRACKS)
_tables: LastUsed[pa.Table] = LastUsed(size=_KEPT_TABLES)


@dataclass(frozen=True, kw_only=True, slots=True)
class KeepingReader:
    """Reads subjects by the rules, and keeps tracks by project and content.

    The bytes are read every time: a file that changed gives another track.
    """

    rules: Rules

    def __call__(
        self, reference: SubjectReference, request: SubjectRequest
    ) -> SubjectTrack:
        """Read a subject, or return the track of the same bytes read the same way."""
        reader = self.rules.reader()
        source = reader.source(reference, path=request.path)
        meaning = (reference.name, reference.at, reference.height_m, reference.rate)
        more = (reference.first_sample_at, reference.joint, reference.units)
        rest = (reference.up, reference.limit_m_s, reference.holds)
        titles = repr(reference.columns)
        span = (request.rate, request.first_frame, request.last_frame)
        scene = (request.up, request.metres_per_unit)
        who = (self.rules.project, self.rules.limits)
        key = (
            who,
            source.kind,
            source.digest,
            meaning,
            more,
            rest,
            titles,
            span,
            scene,
        )
        track = _tracks.get(key)
        if track is None:
            track = track_of_source(source, reference, request)
            if len(track.times_s) <= _LONG_TRACK:
                _tracks.put(key, track)
        return track


@dataclass(frozen=True, kw_only=True, slots=True)
class TakesInMemory(Store):
    """A store of what this process has solved, by project; nothing is on disk.

    Attributes:
        project: whose takes they are.
        made: the takes that were found or put here, the last one last.
    """

    project: str
    made: list[pa.Table] = field(default_factory=list)

    def find(self, shot: str, keys: Keys) -> pa.Table | None:
        """Return the take of these keys, if it was solved lately."""
        kept = _tables.get((self.project, keys))
        if kept is not None:
            self.made.append(kept)
        return kept

    def put(self, shot: str, keys: Keys, take: pa.RecordBatchReader) -> None:
        """Keep a take, if it is not large."""
        table = take.read_all()
        self.made.append(table)
        if table.nbytes <= _LARGE_TABLE:
            _tables.put((self.project, keys), table)

    def current(self, shot: str) -> pa.Table | None:
        """Return None: there is no night before."""
        return None

    def judgement(self, shot: str) -> Judgement | None:
        """Return None: what came of judging a shot is not kept."""
        return None

    def put_judgement(self, judgement: Judgement) -> None:
        """Let it go."""


def solve_request(job: JobFile, rules: Rules) -> pa.Table:
    """Return the table of the only take of a job.

    Raises:
        ShotDataError: the data of its subjects cannot be used, or it has no setup.
        SolverError: the solver cannot work with it.
    """
    (spec,) = job.shots
    store = TakesInMemory(folder=_NOWHERE, project=rules.project)
    read = KeepingReader(rules=rules)
    row = take_alone(Work(job=job, folder=_NOWHERE, store=store, read=read), spec)
    if row.take_key is None:
        fault = Fault(path="shots[0]", message=row.error or "has no setup")
        raise ShotDataError(spec.name, (fault,))
    return store.made[-1]


def solve_take(body: bytes, rules: Rules, form: str) -> SolvedTake | Refusal:
    """Return the take that the body of a request asks for, or why not.

    Args:
        body: a job of one shot, JSON.
        rules: of the token.
        form: one of `results.FORMS`.
    """
    job = job_of(
        body, lambda job: take_faults(job, rules.limits), rules.limits, most_shots=1
    )
    if isinstance(job, Refusal):
        return job
    try:
        table = solve_request(job, rules)
    except (ShotDataError, SolverError) as error:
        return (
            refusal_of(error) if isinstance(error, ShotDataError) else _unsolved(error)
        )
    return SolvedTake(
        take_key=take_metadata(table).keys.take,
        stream=stream_bytes(table),
        form=form,
        body=rendered(table, form),
        from_files=any(s.file is not None for s in job.shots[0].subjects),
    )


def job_of(
    body: bytes,
    refused: Callable[[JobFile], Iterable[Fault]],
    limits: Limits,
    *,
    most_shots: int,
) -> JobFile | Refusal:
    """Return the job that a body is, or why it is refused.

    What is too many is refused before the contents are looked at.

    Args:
        body: JSON.
        refused: yields what the token does not allow.
        limits: of the token.
        most_shots: that the request may have.
    """
    try:
        tables = tables_of_json(body, label="body")
    except (InputError, JobError) as error:
        return refusal_of(error, status=400)
    try:
        faults = tuple(count_faults(tables, limits, most_shots=most_shots))
        if faults:
            raise JobError(faults)
        job = parse_job(tables, most_faulty=_MOST_FAULTY)
        faults = tuple(refused(job))
        if faults:
            raise JobError(faults)
    except JobError as error:
        return refusal_of(error)
    return job


def _unsolved(error: SolverError) -> Refusal:
    fault = Fault(path="shots[0]", message=str(error))
    return refusal_of(JobError((fault,)))
