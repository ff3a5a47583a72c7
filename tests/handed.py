"""What processes say of the work that was handed to them."""

import os

from carrellata.jobs.run.solve_shot import Work


def unpacked_shots(work: Work, place: int) -> tuple[int, int]:
    """Return this process and how many shots it has unpacked, after one more."""
    shot = work.job.shots[place]
    assert work.job.place_of(shot.name) == place
    return os.getpid(), len(work.job.shots._unpacked)  # type: ignore[attr-defined]


def length_of(work: bytes, shot: int) -> int:
    """Return how long the work is."""
    return len(work)
