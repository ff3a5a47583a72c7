"""Interrupts that are obeyed whatever a library makes of them.

An interrupt is an exception that may come up anywhere. A library that calls back into
Python can turn it into an error of its own, or drop it; what was being done would then
count as failed, and the run would go on.
"""

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType
from typing import NoReturn

_SIGNALS = (signal.SIGINT, signal.SIGTERM)
_come: list[int] = []  # signals since somebody began to notice


@contextmanager
def noticed() -> Iterator[None]:
    """Remember each interrupt that comes meanwhile; it is raised as before.

    Signals that do anything else than raise `KeyboardInterrupt` are left alone. So is
    all where this is not the main thread, since interrupts go elsewhere then.
    """
    ours = []
    if threading.current_thread() is threading.main_thread():
        raising = signal.default_int_handler
        ours = [one for one in _SIGNALS if signal.getsignal(one) is raising]
    for one in ours:
        signal.signal(one, _note)
    try:
        yield
    finally:
        for one in ours:
            signal.signal(one, signal.default_int_handler)
        _come.clear()


def obey() -> None:
    """Raise an interrupt that came and was swallowed.

    Raises:
        KeyboardInterrupt: one has come since `noticed` began.
    """
    if _come:
        raise KeyboardInterrupt


def _note(number: int, _frame: FrameType | None) -> NoReturn:
    _come.append(number)
    raise KeyboardInterrupt
