"""Interrupts are obeyed, whatever is made of them on their way."""

import ctypes
import os
import signal
from collections.abc import Iterator
from typing import Any

import pytest
from pydantic import BaseModel, field_serializer

from carrellata.jobs.processes.boundary import guarded
from carrellata.jobs.processes.interrupts import noticed, noticed_as, obey


@pytest.fixture(autouse=True)
def _raising() -> Iterator[None]:
    """A shell may have started this process with interrupts ignored."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)


def interrupt() -> None:
    os.kill(os.getpid(), signal.SIGINT)


def swallow() -> str:
    try:
        interrupt()
    except KeyboardInterrupt:
        return "as if nothing had been"
    raise AssertionError


def convert() -> str:
    try:
        interrupt()
    except KeyboardInterrupt as error:
        message = "an error of a library"
        raise ValueError(message) from error
    raise AssertionError


class Interrupted(BaseModel):
    """Written out by a library that makes an error of its own of any exception."""

    number: int = 1

    @field_serializer("number")
    def _plain(self, number: int) -> int:
        interrupt()
        return number


@pytest.mark.parametrize("work", [swallow, convert, Interrupted().model_dump_json])
def test_an_interrupt_is_obeyed_whatever_is_made_of_it(work: Any) -> None:
    with noticed(), pytest.raises(KeyboardInterrupt):
        guarded(work, "shots[0]")
    obey()  # it is over with those who noticed it


def test_the_library_in_question_does_make_an_error_of_its_own() -> None:
    with pytest.raises(Exception, match="KeyboardInterrupt") as caught:
        Interrupted().model_dump_json()
    assert isinstance(caught.value, Exception)


def test_who_noticed_leaves_the_signal_as_it_was() -> None:
    before = signal.getsignal(signal.SIGINT)
    with noticed():
        assert guarded(lambda: 7, "shots[0]") == 7
        assert signal.getsignal(signal.SIGINT) is not before
    assert signal.getsignal(signal.SIGINT) is before


def test_a_signal_that_is_ignored_stays_ignored() -> None:
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        with noticed():
            interrupt()
            assert guarded(lambda: 7, "shots[0]") == 7
    finally:
        signal.signal(signal.SIGINT, before)


class TooLong(Exception):
    """As a time limit comes."""


def limit(*_: object) -> None:
    raise TooLong


def drop() -> str:
    """Have the limit come in a callback from foreign code, which drops exceptions."""
    called = ctypes.CFUNCTYPE(None)(lambda: os.kill(os.getpid(), signal.SIGUSR1))
    called()
    message = "no compiled object yet"
    raise RuntimeError(message)


@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
def test_a_time_limit_that_foreign_code_drops_is_obeyed() -> None:
    before = signal.signal(signal.SIGUSR1, limit)
    try:
        with noticed_as(signal.SIGUSR1, TooLong), pytest.raises(TooLong):
            guarded(drop, "shots[0]", passing=(TooLong,))
        assert signal.getsignal(signal.SIGUSR1) is limit
        obey()
        assert guarded(drop, "shots[0]", passing=(TooLong,)) != 7
    finally:
        signal.signal(signal.SIGUSR1, before)


def test_a_limit_that_nobody_handles_is_left_alone() -> None:
    before = signal.signal(signal.SIGUSR1, signal.SIG_IGN)
    try:
        with noticed_as(signal.SIGUSR1, TooLong):
            assert signal.getsignal(signal.SIGUSR1) is signal.SIG_IGN
            os.kill(os.getpid(), signal.SIGUSR1)
            assert guarded(lambda: 7, "shots[0]") == 7
    finally:
        signal.signal(signal.SIGUSR1, before)
