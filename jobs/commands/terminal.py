"""Output shared by commands: JSON, faults, and progress bars on a terminal.

Data goes to standard output, faults and progress to standard error.
"""

import json
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import typer

from ..errors import Fault

Advance = Callable[[object, int], None]
"""Called with what is done, which is not looked at, and how many there are."""


def print_json(value: Any) -> None:
    """Print one JSON document."""
    typer.echo(json.dumps(value, indent=2, allow_nan=False))


def print_faults(faults: tuple[Fault, ...]) -> None:
    """Print faults for people, a line each."""
    for fault in faults:
        typer.echo(str(fault), err=True)


def faults_json(faults: tuple[Fault, ...]) -> dict[str, Any]:
    """Return faults as plain values."""
    return {"faults": [{"path": one.path, "message": one.message} for one in faults]}


@contextmanager
def progress_bar(words: str = "shots") -> Iterator[Advance | None]:
    """Give what draws a bar on a terminal, or None where there is none."""
    with progress_bars(words) as (advance,):
        yield advance


@contextmanager
def progress_bars(*words: str) -> Iterator[tuple[Advance | None, ...]]:
    """Give what draws a bar for each of some words on a terminal, or None for each.

    A bar comes up when it first advances.
    """
    if not sys.stderr.isatty():
        yield tuple(None for _ in words)
        return
    from rich.console import Console
    from rich.progress import MofNCompleteColumn, Progress, TimeRemainingColumn

    columns = (*Progress.get_default_columns()[:2], MofNCompleteColumn())
    console = Console(stderr=True)
    with Progress(*columns, TimeRemainingColumn(), console=console) as bar:
        yield tuple(_advancing(bar, one) for one in words)


def _advancing(bar: Any, words: str) -> Advance:
    """Return what advances a bar of its own."""
    tasks: list[Any] = []

    def advance(_: object, total: int) -> None:
        if not tasks:
            tasks.append(bar.add_task(words, total=total))
        bar.update(tasks[0], advance=1, total=total)

    return advance
