"""The boundary of a piece of work: it fails alone, whatever it does, and says why."""

import logging
from collections.abc import Callable
from typing import TypeVar

from ...solver.errors import SolverError
from ..errors import Fault, ShotDataError
from ..places.object_errors import StoreError
from ..places.place import failure_words
from .interrupts import obey

T = TypeVar("T")

_log = logging.getLogger("carrellata")

_LONGEST = 200  # characters of what a defect says of itself


def guarded(
    do: Callable[[], T],
    place: str,
    *,
    passing: tuple[type[Exception], ...] = (),
    waits: bool = False,
) -> T | tuple[Fault, ...]:
    """Return what a piece of work returns, or why there is nothing.

    Args:
        do: the work.
        place: what it is about, `shots[3]` for a shot of a job.
        passing: exceptions that are not its own and go on to the caller.
        waits: raise where an object store does not answer for now, for a caller who
            can come again.

    Raises:
        StoreError: an object store does not answer, and the caller waits.
        KeyboardInterrupt: one came meanwhile, whatever the work made of it; so does
            an error that is `noticed_as`.
    """
    try:
        return _result(do, place, passing, waits)
    finally:
        obey()


def _result(
    do: Callable[[], T],
    place: str,
    passing: tuple[type[Exception], ...],
    waits: bool,
) -> T | tuple[Fault, ...]:
    try:
        return do()
    except passing:
        raise
    except ShotDataError as error:
        return error.faults
    except SolverError as error:
        message = str(error)
    except OSError as error:
        if waits and isinstance(error, StoreError) and error.transient:
            raise  # it is nobody's fault
        message = failure_words(error)
    except MemoryError:
        message = "needs more memory than there is"
    except Exception as error:
        obey()  # a library's error may be what it made of an interrupt
        # A defect met by one must not keep a night of others from their report.
        _log.exception("%s met a defect", place)
        message = defect_words(error)
    return (Fault(path=place, message=message),)


def defect_words(error: Exception) -> str:
    """Return what is said of an error that nobody foresaw; it names no folder."""
    text = " ".join(str(error).split())
    said = f" ({text[:_LONGEST]})" if text and "/" not in text else ""
    name = type(error).__name__
    return f"stopped by {name}{said}; this is a fault of the program, please report it"
