"""The table of what a job was understood to say."""

from collections.abc import Iterator, Sequence
from dataclasses import asdict
from typing import Any

from ..run.understood import ShotUnderstood, SubjectUnderstood

_HEADS = ("shot", "frames", "size", "lens", "rig")
_BODY = ("subject", "height", "travels", "top speed", "rises")


def understood_lines(shots: Sequence[ShotUnderstood]) -> Iterator[str]:
    """Yield a table, a line for each subject of each shot."""
    rows = [
        (*(_shot_cells(shot) if k == 0 else ("",) * len(_HEADS)), *_cells(one))
        for shot in shots
        for k, one in enumerate(shot.subjects)
    ]
    if not rows:
        return
    table = [(*_HEADS, *_BODY), *rows]
    widths = [max(map(len, column)) for column in zip(*table, strict=True)]
    for row in table:
        cells = [cell.ljust(width) for cell, width in zip(row, widths, strict=True)]
        yield "  ".join(cells).rstrip()


def plain_shots(shots: Sequence[ShotUnderstood]) -> list[dict[str, Any]]:
    """Return the same as plain values."""
    return [{**asdict(shot), "frames": list(shot.frames)} for shot in shots]


def _shot_cells(shot: ShotUnderstood) -> tuple[str, ...]:
    first, last = shot.frames
    return (
        shot.shot,
        f"{first}-{last} ({shot.seconds:.1f} s)",
        shot.size,
        shot.lens,
        shot.rig,
    )


def _cells(one: SubjectUnderstood) -> tuple[str, ...]:
    return (
        one.name,
        f"{one.height_m:.2f} m",
        f"{one.travels_m:.1f} m",
        f"{one.top_m_s:.1f} m/s",
        f"{one.rises_m:.1f} m",
    )
