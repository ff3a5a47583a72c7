"""Interrupts that are obeyed whatever a library makes of them.

An interrupt is an exception that may come up anywhere. A library that calls back into
Python can turn it into an error of its own, or drop it; what was being done would then
count as failed, and the run would go on. The compiler does so: a signal that comes
while it makes machine code is handled in the callback by which it hands the code over,
where exceptions are dropped, and then it has no code ("no compiled object yet").
"""

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType
from typing import NoReturn

_SIGNALS = (signal.SIGINT, signal.SIGTERM)
_come: list[type[BaseException]] = []  # since somebody began to notice


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


@contextmanager
def noticed_as(number: signal.Signals, error: type[Exception]) -> Iterator[None]:
    """Remember meanwhile when a signal comes whose handler raises an error.

    Args:
        number: of the signal; where nobody handles it, it is left alone.
        error: that its handler raises.
    """
    handler = signal.getsignal(number)
    main = threading.current_thread() is threading.main_thread()
    if not (main and callable(handler)):
        yield
        return

    def note(number: int, frame: FrameType | None) -> None:
        _come.append(error)
        handler(number, frame)

    signal.signal(number, note)
    try:
        yield
    finally:
        signal.signal(number, handler)
        _come[:] = [one for one in _come if one is not error]


def obey() -> None:
    """Raise an interrupt that came and was swallowed.

    Raises:
        KeyboardInterrupt: one has come since `noticed` began; likewise the error of
            `noticed_as`.
    """
    if _come:
        raise _come[0]


def _note(_number: int, _frame: FrameType | None) -> NoReturn:
    _come.append(KeyboardInterrupt)
    raise KeyboardInterrupt
