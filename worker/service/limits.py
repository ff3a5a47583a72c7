"""What one token may ask for, and how often."""

import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from ...jobs.errors import Fault
from ...jobs.job.shot import ShotSpec
from ...jobs.job.spec import MAX_SHOTS, JobFile


@dataclass(frozen=True, kw_only=True, slots=True)
class Limits:
    """Limits of one token; every number is at least 1.

    Attributes:
        requests_per_s: sustained rate of requests.
        burst: requests at once after a rest.
        in_flight: takes that are being solved or waited for at one time.
        streams: streams of events that are open at one time.
        batches: batches that wait or run at one time.
        body_bytes: of the body of a request for a take.
        batch_body_bytes: of the body of a batch.
        frames: samples solved for a take: frames with handles, times sub-frames.
        batch_shots: of a batch.
        batch_frames: the same for all shots of a batch together.
        samples: rows of one subject.
        file_bytes: of one subject's file, packed and unpacked.
    """

    requests_per_s: int = 50
    burst: int = 200
    in_flight: int = 64
    streams: int = 16
    batches: int = 20
    body_bytes: int = 4 * 2**20
    batch_body_bytes: int = 32 * 2**20
    frames: int = 20_000
    batch_shots: int = MAX_SHOTS
    batch_frames: int = 2_000_000
    samples: int = 1_000_000
    file_bytes: int = 64 * 2**20


@dataclass(kw_only=True, slots=True)
class Bucket:
    """Counts requests: `burst` at once, refilled at `per_s`."""

    per_s: float
    burst: float
    left: float = field(init=False)
    at_s: float = field(init=False)

    def __post_init__(self) -> None:
        self.left = self.burst
        self.at_s = time.monotonic()

    def wait_s(self) -> float:
        """Take one request out; return 0, or how long until there is one [s]."""
        now = time.monotonic()
        self.left = min(self.burst, self.left + (now - self.at_s) * self.per_s)
        self.at_s = now
        if self.left < 1.0:
            return (1.0 - self.left) / self.per_s
        self.left -= 1.0
        return 0.0


def n_samples(spec: ShotSpec) -> int:
    """Return the samples that are solved for a shot."""
    first, last = spec.solved_frames
    return (last - first + 1) * spec.samples_per_frame


def count_faults(
    tables: Mapping[str, Any], limits: Limits, *, most_shots: int
) -> Iterator[Fault]:
    """Yield what is too many in the tables of a job, before their contents are read.

    Args:
        tables: of a job, unchecked.
        limits: of the token.
        most_shots: that the request may have.
    """
    shots = tables.get("shots")
    listed = shots if isinstance(shots, list) else []
    if len(listed) > most_shots:
        message = f"{len(listed)} shots, limit {most_shots}"
        if most_shots == 1:
            message = f"a take needs exactly one shot, got {len(listed)}"
        yield Fault(path="shots", message=message)
        return
    for k, shot in enumerate(listed):
        subjects = shot.get("subjects") if isinstance(shot, dict) else None
        for n, subject in enumerate(subjects if isinstance(subjects, list) else ()):
            samples = subject.get("samples") if isinstance(subject, dict) else None
            columns = samples.values() if isinstance(samples, dict) else ()
            count = max((len(c) for c in columns if isinstance(c, list)), default=0)
            if count > limits.samples:
                message = f"{count} samples, limit {limits.samples}"
                path = f"shots[{k}].subjects[{n}].samples"
                yield Fault(path=path, message=message)


def take_faults(job: JobFile, limits: Limits) -> Iterator[Fault]:
    """Yield what keeps a job from being one take."""
    if len(job.shots) != 1:
        message = f"a take needs exactly one shot, got {len(job.shots)}"
        yield Fault(path="shots", message=message)
    for k, spec in enumerate(job.shots):
        if spec.lock is not None:
            message = "a take asked for by itself has no earlier one to keep"
            yield Fault(path=f"shots[{k}].lock", message=message)
        if n_samples(spec) > limits.frames:
            message = f"{n_samples(spec)} samples to solve, limit {limits.frames}"
            yield Fault(path=f"shots[{k}].frames", message=message)
    yield from _sample_faults(job, limits)


def batch_faults(job: JobFile, limits: Limits) -> Iterator[Fault]:
    """Yield what keeps a job from being a batch."""
    total = sum(n_samples(spec) for spec in job.shots)
    if total > limits.batch_frames:
        message = f"{total} samples to solve in all, limit {limits.batch_frames}"
        yield Fault(path="shots", message=message)
    yield from _sample_faults(job, limits)


def _sample_faults(job: JobFile, limits: Limits) -> Iterator[Fault]:
    for k, spec in enumerate(job.shots):
        for n, subject in enumerate(spec.subjects):
            count = 0 if subject.samples is None else len(subject.samples.x)
            if count > limits.samples:
                message = f"{count} samples, limit {limits.samples}"
                path = f"shots[{k}].subjects[{n}].samples"
                yield Fault(path=path, message=message)
