"""The text of a BVH file: its tree of joints and its table of channel values."""

import io
import math
import re
from dataclasses import dataclass, replace
from typing import NoReturn

import numpy as np

from ...solver.arrays import FloatArray
from .faults import refuse
from .source import Source, check_size

_CHANNEL = re.compile(r"([XYZ])(position|rotation)", re.IGNORECASE)
_COUNTS = re.compile(
    rb"\s*Frames:\s*(\d{1,9})\s+Frame Time:\s*([^\s]{1,40})[ \t]*(?:\r?\n|$)"
)

ROOT = -1  # parent of a root
END = -2  # an end site: a length, no joint


@dataclass(frozen=True, kw_only=True, slots=True)
class Joint:
    """One joint of the tree.

    Attributes:
        name: as written.
        parent: index of the parent in the list of joints, or `ROOT`.
        offset: place in the parent's axes, file units.
        channels: axis 0..2 and whether it is a rotation, in the order listed.
        first_channel: column of the first of them.
    """

    name: str
    parent: int
    offset: tuple[float, float, float] = (0.0, 0.0, 0.0)
    channels: tuple[tuple[int, bool], ...] = ()
    first_channel: int = 0


@dataclass(frozen=True, kw_only=True, slots=True)
class BvhMotion:
    """Joints, parents before children, and channel values (n, n_channels)."""

    joints: list[Joint]
    frame_time_s: float
    values: FloatArray


def parse_bvh(source: Source) -> BvhMotion:
    """Read the tree and the values of a BVH file.

    Raises:
        SubjectError: the text does not follow the format, or is too large.
    """
    head, found, tail = source.data.partition(b"MOTION")
    if not found or not head.lstrip().startswith(b"HIERARCHY"):
        refuse_bvh(source, "needs the sections HIERARCHY and MOTION")
    joints, n_channels = _tree(_text(head, source).splitlines(), source)
    counts = _COUNTS.match(tail[:1000])
    if counts is None:
        refuse_bvh(source, "needs 'Frames:' and 'Frame Time:' after MOTION")
    frame_time_s = _numbers(_text(counts[2], source).split(), 1, source)[0]
    if not 0.0 < frame_time_s < 1e3:
        refuse_bvh(source, f"Frame Time must be above 0 s, got {frame_time_s:g}")
    rows = tail[counts.end() :]
    values = _values(rows, int(counts[1]), n_channels, source)
    return BvhMotion(joints=joints, frame_time_s=frame_time_s, values=values)


def refuse_bvh(source: Source, rule: str) -> NoReturn:
    """Raise a `SubjectError` that names the file and the rule it breaks."""
    refuse(source.path, f"{source.label} {rule}")


def _text(data: bytes, source: Source) -> str:
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        refuse_bvh(source, f"is not UTF-8 at byte {error.start}")


def _tree(lines: list[str], source: Source) -> tuple[list[Joint], int]:
    """The joints, and the number of channels of all of them."""
    builder = _Builder(source)
    for number, line in enumerate(lines, start=1):
        words = line.split()
        if words and number > 1:
            builder.take(words, number)
    if builder.open or builder.pending is not None or not builder.joints:
        refuse_bvh(source, "has a tree of joints that is not closed")
    return builder.joints, builder.n_channels


class _Builder:
    """Takes the lines of the tree one by one."""

    def __init__(self, source: Source) -> None:
        self.source = source
        self.joints: list[Joint] = []
        self.open: list[int] = []  # joints whose brace is open, END of an end site
        self.pending: int | None = None  # named, its brace not open yet
        self.n_channels = 0

    def take(self, words: list[str], number: int) -> None:
        keyword, inside = words[0].upper(), self.open[-1] if self.open else None
        if keyword == ("ROOT" if inside is None else "JOINT") and inside != END:
            self._name(" ".join(words[1:]), ROOT if inside is None else inside)
        elif keyword == "END" and inside is not None:
            self.pending = END
        elif keyword == "{" and self.pending is not None:
            self.open.append(self.pending)
            self.pending = None
        elif keyword == "}" and self.open:
            self.open.pop()
        elif keyword == "OFFSET" and inside is not None:
            self._offset(words[1:], inside)
        elif keyword == "CHANNELS" and inside is not None and inside != END:
            self._channels(words[1:], inside, number)
        else:
            shown = " ".join(words)[:40]
            refuse_bvh(self.source, f"line {number} is out of place: {shown!r}")

    def _name(self, name: str, parent: int) -> None:
        self.pending = len(self.joints)
        self.joints.append(Joint(name=name, parent=parent))

    def _offset(self, words: list[str], joint: int) -> None:
        x, y, z = _numbers(words, 3, self.source)
        if joint != END:
            self.joints[joint] = replace(self.joints[joint], offset=(x, y, z))

    def _channels(self, words: list[str], joint: int, number: int) -> None:
        matches = [match for word in words[1:] if (match := _CHANNEL.fullmatch(word))]
        told = words[0] if words else ""
        if told != str(len(words) - 1) or len(matches) != len(words) - 1:
            refuse_bvh(self.source, f"line {number} has no valid list of channels")
        if self.joints[joint].channels:
            refuse_bvh(self.source, f"line {number} lists channels a second time")
        self.joints[joint] = replace(
            self.joints[joint],
            channels=tuple(
                ("XYZ".index(axis.upper()), kind.lower() == "rotation")
                for axis, kind in (match.groups() for match in matches)
            ),
            first_channel=self.n_channels,
        )
        self.n_channels += len(matches)


def _values(rows: bytes, n_samples: int, n_channels: int, source: Source) -> FloatArray:
    """The table of channel values, (n_samples, n_channels)."""
    check_size(source, n_rows=n_samples, n_bytes=n_samples * n_channels * 8)
    if n_samples == 0 or not rows.strip():
        refuse_bvh(source, "has no samples")
    first = rows.lstrip().split(b"\n", 1)[0].split(maxsplit=n_channels)
    if len(first) != n_channels:
        rule = f"has not {n_channels} values, one a channel, in each row"
        refuse_bvh(source, rule)
    try:
        values: FloatArray = np.loadtxt(io.BytesIO(rows), comments=None, ndmin=2)
    except ValueError as error:
        refuse_bvh(source, f"has a row that cannot be read ({str(error)[:120]})")
    if len(values) != n_samples:
        refuse_bvh(source, f"says Frames: {n_samples} and has {len(values)}")
    return values


def _numbers(words: list[str], count: int, source: Source) -> list[float]:
    try:
        numbers = [float(word) for word in words]
    except ValueError:
        numbers = []
    if len(numbers) != count or not all(map(math.isfinite, numbers)):
        rule = f"needs {count} numbers where it has {' '.join(words)[:60]!r}"
        refuse_bvh(source, rule)
    return numbers
