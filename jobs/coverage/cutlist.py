"""The shots of a cut: from an OpenTimelineIO timeline to names, ranges and handles.

The shots are what the viewer sees: of stacked tracks the upper one, below it what it
leaves open; a nested sequence within its own trim. Sound, disabled items, gaps and
generated pictures are not shots. A retimed clip is refused by name, since a camera's
frames would no longer be the cut's; so is a clip at another rate than the timeline.

Times are whole frames from here on: values of one rate, never sums of two.
"""

import re
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from math import isfinite
from pathlib import Path
from typing import Any

from ..errors import Fault, InputError, JobError
from ..export.extras import need
from ..job.quantities import NAME_PATTERN
from ..job.rate import rate_text
from ..job.timecode import label_of_frame
from .cut_pieces import CutPiece, without

WHOLE_RATES = (12, 15, 24, 25, 30, 48, 50, 60, 72, 90, 96, 100, 120)
SLOWED_RATES = (24, 30, 48, 60, 120)  # each also 1000/1001 of itself
SNAP_RATE = 1e-3  # rates are written to three decimals at least
_SNAP_FRAMES = 1e-4


@dataclass(frozen=True, kw_only=True, slots=True)
class CutEvent:
    """One shot of a cut.

    Attributes:
        name: unique in the cut, regardless of case.
        frames: first and last, inclusive, in the numbers of the clip's media.
        handles: frames before and after that a transition or the wish needs.
        record: frame of the timeline that the first one falls on, from 0.
        clip: name of the clip.
        media: what names the clip's media; the name of the clip where nothing does.
        speed: of the clip against its media; its frames are then those of the media.
    """

    name: str
    frames: tuple[int, int]
    handles: tuple[int, int]
    record: int
    clip: str
    media: str = ""
    speed: float = 1.0


@dataclass(frozen=True, kw_only=True, slots=True)
class CutList:
    """The shots of a timeline in the order of the cut.

    Attributes:
        name: of the timeline.
        rate: frames a second.
        timecode: of the first frame of the cut; None where the timeline has none.
        shots: in order.
        notes: what was left out or renamed, a sentence each.
    """

    name: str
    rate: Fraction
    timecode: str | None
    shots: tuple[CutEvent, ...]
    notes: tuple[str, ...]


def snap_rate(rate: float) -> Fraction | None:
    """Return the exact rate that a decimal one stands for, None for any other.

    Known are whole rates and 1000/1001 of some, within a thousandth.
    """
    known = [Fraction(whole) for whole in WHOLE_RATES]
    known += [Fraction(whole * 1000, 1001) for whole in SLOWED_RATES]
    nearest = min(known, key=lambda each: abs(float(each) - rate))
    return nearest if abs(float(nearest) - rate) <= SNAP_RATE else None


def read_cut(
    path: Path, *, handles: int = 8, number: bool = False, retimed: bool = False
) -> CutList:
    """Read the shots of a timeline.

    Args:
        path: `.otio`, `.otioz`, `.otiod`, or what an installed adapter reads.
        handles: frames wanted at both ends; less where the media has less, more where
            a transition needs more.
        number: name shots 010, 020, ... in the order of the cut, not after clips.
        retimed: take clips at another even speed too, with the frames of their media.

    Raises:
        InputError: the file cannot be read as a timeline.
        JobError: the extra is missing, or the timeline holds what has no shot list;
            every fault is named by its clip.
    """
    file = str(path)
    need("opentimelineio", "scene", file)
    if not path.exists():
        raise InputError(file, "no such file")
    timeline = _timeline(file, lambda otio: otio.adapters.read_from_file(file))
    return _Reader(file, timeline, retimed=retimed).cut(handles=handles, number=number)


def cut_of_text(text: str, file: str) -> CutList:
    """Return the shots of an `.otio` timeline, numbered, without handles.

    Args:
        text: of the file.
        file: what it is called in messages.

    Raises:
        InputError: the text is no timeline.
        JobError: as `read_cut`.
    """
    need("opentimelineio", "scene", file)
    timeline = _timeline(
        file, lambda otio: otio.adapters.read_from_string(text, "otio_json")
    )
    return _Reader(file, timeline, retimed=False).cut(handles=0, number=True)


def _timeline(file: str, read: Callable[[Any], Any]) -> Any:
    """Return the one timeline that is read.

    Args:
        file: what it is called in messages.
        read: reads it, given the package.
    """
    import opentimelineio as otio

    try:
        found = read(otio)
    except (otio.exceptions.OTIOError, ValueError, OSError) as error:
        reason = str(error).splitlines()[0][:200] if str(error) else "unknown reason"
        raise InputError(file, f"is not a timeline: {reason}") from error
    if isinstance(found, otio.schema.SerializableCollection):
        inside = [one for one in found if isinstance(one, otio.schema.Timeline)]
        if len(inside) != 1:
            message = f"holds {len(inside)} timelines, must hold one"
            raise InputError(file, message)
        return inside[0]
    if not isinstance(found, otio.schema.Timeline):
        kind = found.schema_name() if hasattr(found, "schema_name") else "nothing"
        raise InputError(file, f"holds a {kind}, must hold a Timeline")
    return found


class _Reader:
    """Walks one timeline and gathers its faults."""

    def __init__(self, file: str, timeline: Any, *, retimed: bool) -> None:
        """Keep what is walked; nothing is looked at yet."""
        self.retimed = retimed
        self.file = file
        self.timeline = timeline
        self.rate: Fraction | None = None
        self.faults: list[Fault] = []
        self.notes: list[str] = []

    def cut(self, *, handles: int, number: bool) -> CutList:
        """Return the shots, or raise all faults."""
        pieces = sorted(self._layers(self.timeline.tracks), key=lambda one: one.start)
        if not pieces and not self.faults:
            self._fault(self.timeline, "holds no clip that is seen")
        held = [self._handles(one, handles) for one in pieces]
        names = self._names(pieces, number)
        timecode = self._timecode(pieces)
        if self.faults or self.rate is None:
            raise JobError(tuple(self.faults))
        shots = tuple(
            CutEvent(
                name=name,
                frames=piece.frames,
                handles=ends,
                record=piece.start,
                clip=piece.clip.name or "",
                media=piece.media,
                speed=piece.speed,
            )
            for name, piece, ends in zip(names, pieces, held, strict=True)
        )
        return CutList(
            name=self.timeline.name or "",
            rate=self.rate,
            timecode=timecode,
            shots=shots,
            notes=tuple(self.notes),
        )

    def _fault(self, item: Any, message: str) -> None:
        kind = item.schema_name()
        name = f'{kind} "{item.name}"' if item.name else f"a {kind} without a name"
        self.faults.append(Fault(path=f"{self.file}: {name}", message=message))

    def _frames(self, item: Any, time: Any) -> int:
        """Return a time as whole frames of the one rate of the timeline."""
        rate = snap_rate(time.rate)
        if rate is None:
            self._fault(item, f"{time.rate:g} frames a second is not a known rate")
            return 0
        if self.rate is None:
            self.rate = rate
        if rate != self.rate:
            theirs, ours = rate_text(rate), rate_text(self.rate)
            message = f"is at {theirs} frames a second, the timeline at {ours}"
            self._fault(item, message)
            return 0
        if not isfinite(time.value):
            self._fault(item, "has a time that is not a number")
            return 0
        whole: int = round(time.value)
        if abs(time.value - whole) > _SNAP_FRAMES:
            self._fault(item, f"{time.value:g} is not a whole frame")
        return whole

    def _range(self, item: Any) -> tuple[int, int]:
        """Return the first frame of an item, in its own numbers, and its length."""
        import opentimelineio as otio

        try:
            trimmed = item.trimmed_range()
        except (otio.exceptions.OTIOError, ValueError, NotImplementedError):
            self._fault(item, "has neither a source range nor media with a range")
            return 0, 0
        return (
            self._frames(item, trimmed.start_time),
            self._frames(item, trimmed.duration),
        )

    def _speed(self, item: Any) -> float | None:
        """Return the speed of an item, None where it is refused for it."""
        import opentimelineio as otio

        speed = 1.0
        for effect in item.effects:
            if not isinstance(effect, otio.schema.TimeEffect):
                continue
            scalar: float | None = getattr(effect, "time_scalar", None)
            allowed = self.retimed and isinstance(item, otio.schema.Clip)
            if allowed and scalar is not None and isfinite(scalar) and scalar > 0:
                speed *= scalar
            elif scalar != 1.0:
                how = "" if scalar is None else f" to {scalar:g} of its speed"
                kind = effect.schema_name()
                message = f"is retimed{how} ({kind}); bake the retime, then cut again"
                self._fault(item, message)
                return None
        return speed

    def _layers(self, stack: Any) -> list[CutPiece]:
        """Return what is seen of a stack, in the frames of its inside."""
        seen: list[CutPiece] = []
        open_: list[tuple[int, int]] = [(-(10**12), 10**12)]
        for layer in reversed(list(stack)):
            pieces = self._layer(layer)
            seen += [
                part
                for piece in pieces
                for low, high in open_
                if (part := piece.within(low, high)) is not None
            ]
            for piece in pieces:
                open_ = without(open_, piece.start, piece.start + piece.length)
        return sorted(seen, key=lambda one: one.start)

    def _layer(self, layer: Any) -> list[CutPiece]:
        """Return what is seen of one layer of a stack, which begins at its frame 0."""
        import opentimelineio as otio

        if isinstance(layer, otio.schema.Track) and (
            layer.kind != otio.schema.TrackKind.Video
        ):
            return []
        return self._item(layer, at=0)

    def _item(self, item: Any, *, at: int) -> list[CutPiece]:
        """Return what is seen of an item whose trimmed start falls on a frame."""
        import opentimelineio as otio

        if isinstance(item, otio.schema.Gap) or not item.enabled:
            return []
        speed = self._speed(item)
        if speed is None:
            return []
        if isinstance(item, otio.schema.Clip):
            if isinstance(item.media_reference, otio.schema.GeneratorReference):
                self.notes.append(f'"{item.name}" is a generated picture, left out')
                return []
            first, length = self._range(item)
            piece = CutPiece(
                clip=item, start=at, length=length, first=first, speed=speed
            )
            return [piece] if length > 0 else []
        inside = (
            self._layers(item)
            if isinstance(item, otio.schema.Stack)
            else list(self._track(item))
        )
        if item.source_range is None:
            return [replace(piece, start=piece.start + at) for piece in inside]
        first, length = self._range(item)
        shown = (piece.within(first, first + length) for piece in inside)
        return [
            replace(piece, start=piece.start - first + at)
            for piece in shown
            if piece is not None
        ]

    def _track(self, track: Any) -> Iterator[CutPiece]:
        """Yield what is seen of a track's children, in the frames of its inside."""
        import opentimelineio as otio

        at, children = 0, list(track)
        for k, child in enumerate(children):
            if isinstance(child, otio.schema.Transition):
                continue
            _, length = self._range(child)
            head = self._reach(children, k - 1, "in_offset")
            tail = self._reach(children, k + 1, "out_offset")
            pieces = self._item(child, at=at)
            for piece in pieces:
                starts = piece.start == at
                ends = piece.start + piece.length == at + length
                yield replace(
                    piece,
                    head=max(piece.head, head if starts else 0),
                    tail=max(piece.tail, tail if ends else 0),
                )
            at += length

    def _reach(self, children: list[Any], k: int, offset: str) -> int:
        """Return how far a transition at a place reaches past the cut."""
        import opentimelineio as otio

        beside = children[k] if 0 <= k < len(children) else None
        if not isinstance(beside, otio.schema.Transition):
            return 0
        return self._frames(beside, getattr(beside, offset))

    def _handles(self, piece: CutPiece, wanted: int) -> tuple[int, int]:
        media = piece.clip.media_reference
        available = None if media is None else media.available_range
        if available is None:
            return max(wanted, piece.head), max(wanted, piece.tail)
        first = self._frames(piece.clip, available.start_time)
        length = self._frames(piece.clip, available.duration)
        spare = (
            max(0, piece.first - first),
            max(0, first + length - piece.frames[1] - 1),
        )
        for need_, has, end in zip(
            (piece.head, piece.tail), spare, ("before", "after"), strict=True
        ):
            if need_ > has:
                message = f"a transition needs {need_} frames {end} it, media has {has}"
                self._fault(piece.clip, message)
        return (
            min(spare[0], max(wanted, piece.head)),
            min(spare[1], max(wanted, piece.tail)),
        )

    def _names(self, pieces: list[CutPiece], number: bool) -> list[str]:
        if number:
            return [f"{10 * (k + 1):03d}" for k in range(len(pieces))]
        names: list[str] = []
        used: Counter[str] = Counter()
        for piece in pieces:
            name = piece.clip.name or ""
            if re.fullmatch(NAME_PATTERN, name) is None:
                message = (
                    "is not a name for a shot (letters, digits, _ and -); rename it"
                )
                self._fault(piece.clip, f"{message}, or number the shots by --number")
            key = name.lower()
            used[key] += 1
            while used[key] > 1 and f"{key}_{used[key]}" in used:
                used[key] += 1
            if used[key] > 1:
                name = f"{name}_{used[key]}"
                used[name.lower()] += 1
                self.notes.append(f'"{piece.clip.name}" is cut again, as "{name}"')
            names.append(name)
        return names

    def _timecode(self, pieces: list[CutPiece]) -> str | None:
        start = self.timeline.global_start_time
        if start is None or not pieces:
            return None
        frame = self._frames(self.timeline, start) + pieces[0].start
        if self.rate is None or frame < 0:
            return None
        return label_of_frame(frame, self.rate)
