"""Writes the takes of a sequence in the form that was asked for."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Literal, NamedTuple, get_args

import pyarrow as pa

from ..errors import Fault, JobError
from ..job.world import WorldSpec
from ..places.atomic import write_whole
from ..places.place import Place
from ..takes.curves import Curves, Delivery, read_delivery
from ..takes.sequence_table import ShotRow
from ..takes.store import Store
from .extras import need
from .form import Form
from .names import DEFAULT_PATTERN, names_of
from .usd import Keys, shake_name, usd_shot

FORMS: tuple[Form, ...] = get_args(Form)
_EXTRAS = {"usd": ("pxr", "scene"), "frames": ("PIL", "plots")}
_EXTRAS |= {"stills": ("matplotlib", "plots")}
_EXTRAS |= {"timeline": ("opentimelineio", "scene")}

Progress = Callable[[str, int], None]
"""Called with the name of each shot that is done, and how many there are in all."""


@dataclass(frozen=True, kw_only=True, slots=True)
class ExportRequest:
    """What is to be delivered, and how.

    Attributes:
        to: the form.
        folder: where it goes; None for `export/<form>` beside the takes.
        shots: names, in any case of letters; None for all.
        names: pattern of the names of files and cameras.
        keys: OpenUSD: every frame, or the plan's knots.
        like: OpenUSD: scene whose axes and units are taken over; None for the job's.
        width: pixels across of a picture.
        suffix: of stills, `.png` or `.svg`.
    """

    to: Form
    folder: Place | None = None
    shots: Sequence[str] | None = None
    names: str = DEFAULT_PATTERN
    keys: Keys = "frames"
    like: Path | None = None
    width: int = 1280
    suffix: Literal[".png", ".svg"] = ".png"


@dataclass(frozen=True, kw_only=True, slots=True)
class Exported:
    """What was written.

    Attributes:
        sequence: its name.
        folder: where the files lie.
        files: of every shot, then of the sequence.
        notes: what the form could not carry, a sentence each.
    """

    sequence: str
    folder: Place
    files: tuple[Place, ...]
    notes: tuple[str, ...]


def export_sequence(
    store: Store, wanted: ExportRequest, progress: Progress | None = None
) -> Exported:
    """Write the current takes of a sequence in one form.

    Raises:
        InputError: the takes or the scene to fit cannot be read.
        JobError: an extra or a shot is missing, or the pattern of names is refused.
        OSError: a file could not be written; each that was is whole.
    """
    if wanted.to in _EXTRAS:
        module, extra = _EXTRAS[wanted.to]
        need(module, extra, f"--to {wanted.to}")
    delivery = _chosen(read_delivery(store), wanted.shots)
    names = names_of(wanted.names, delivery.curves)
    folder = wanted.folder or store.folder / "export" / wanted.to
    task = _Task(delivery=delivery, names=names, wanted=wanted, folder=folder)
    left_out = (f"{shot} has no take and is left out" for shot in delivery.missing)
    task.notes.extend(left_out)
    files: list[Place] = []

    def put(written: _Files) -> None:
        for name, data in written:
            write_whole(folder / name, data)
            files.append(folder / name)

    if wanted.to in _OF_SHOT:
        for shot in task.shots:
            put(_OF_SHOT[wanted.to](task, shot))
            if progress is not None:
                progress(shot.curve.shot, len(names))
    if wanted.to in _OF_SEQUENCE:
        put(_OF_SEQUENCE[wanted.to](task))
    return Exported(
        sequence=delivery.sequence,
        folder=folder,
        files=tuple(files),
        notes=tuple(task.notes),
    )


def _chosen(delivery: Delivery, shots: Sequence[str] | None) -> Delivery:
    if shots is None:
        return delivery
    known = {row.shot.lower(): k for k, row in enumerate(delivery.rows)}
    listed = ", ".join(row.shot for row in delivery.rows)
    faults = tuple(
        Fault(path="--shots", message=f'"{name}" is not a shot with a take ({listed})')
        for name in shots
        if name.lower() not in known
    )
    if faults:
        raise JobError(faults)
    kept = sorted(known[name.lower()] for name in set(shots))
    return replace(
        delivery,
        rows=tuple(delivery.rows[k] for k in kept),
        curves=tuple(delivery.curves[k] for k in kept),
        tables=tuple(delivery.tables[k] for k in kept),
        missing=(),
    )


_Files = Iterator[tuple[str, bytes]]
"""Names of files and what they hold."""


class _Shot(NamedTuple):
    """A shot that is delivered, and what its files are called."""

    row: ShotRow
    curve: Curves
    table: pa.Table
    name: str


@dataclass(frozen=True, kw_only=True)
class _Task:
    """What is delivered of a sequence; `notes` are added to as it is written."""

    delivery: Delivery
    names: list[str]
    wanted: ExportRequest
    folder: Place
    notes: list[str] = field(default_factory=list)

    @property
    def shots(self) -> Iterator[_Shot]:
        """Every shot."""
        each = self.delivery
        columns = each.rows, each.curves, each.tables, self.names
        return map(_Shot._make, zip(*columns, strict=True))

    @cached_property
    def usd_world(self) -> WorldSpec:
        """Axes and units of an OpenUSD scene.

        Raises:
            JobError: a shot's name is that of the sequence.
            InputError: the scene to fit cannot be read.
        """
        from .usd_sequence import world_like

        sequence = self.delivery.sequence
        curves = self.delivery.curves
        world = curves[0].world
        if self.wanted.like is not None:
            world = world_like(self.wanted.like, curves)
        if sequence.lower() in {name.lower() for name in self.names}:
            message = f'gives a shot the name of the sequence, "{sequence}"'
            raise JobError((Fault(path="--names", message=message),))
        return world


def _usd(task: _Task, shot: _Shot) -> _Files:
    files = usd_shot(
        shot.curve, name=shot.name, world=task.usd_world, keys=task.wanted.keys
    )
    if files.shake is not None:
        yield f"{shake_name(shot.name)}.usda", files.shake.encode()
    yield f"{shot.name}.usda", files.shot.encode()


def _usd_sequence(task: _Task) -> _Files:
    from .usd_sequence import usd_sequence

    sequence, curves = task.delivery.sequence, task.delivery.curves
    text = usd_sequence(sequence, curves, task.names, task.usd_world)
    yield f"{sequence}.usda", text.encode()
    if task.wanted.keys == "sparse":
        task.notes.append("sparse keys are splines, which OpenUSD reads from 25.05 on")


def _gltf(task: _Task, shot: _Shot) -> _Files:
    from .gltf import angle_is_widened, gltf_bytes

    yield f"{shot.name}.glb", gltf_bytes(shot.curve, name=shot.name)
    if angle_is_widened(shot.curve):
        task.notes.append(
            f"{shot.curve.shot}: its frame is not centred on the lens, which glTF "
            "cannot say; the angle of view is widened so that the frame is inside it"
        )


def _csv(task: _Task, shot: _Shot) -> _Files:
    from .csv_table import csv_text

    yield f"{shot.name}.csv", csv_text(shot.curve, shot.table).encode()


def _opentrackio(task: _Task, shot: _Shot) -> _Files:
    from .opentrackio import opentrackio_lines

    lines = opentrackio_lines(shot.curve, task.delivery.clock)
    yield f"{shot.name}.jsonl", lines.encode()


def _fdl(task: _Task, shot: _Shot) -> _Files:
    from .framing_list import framing_list

    yield f"{shot.name}.fdl", framing_list(shot.curve).encode()


def _timeline(task: _Task) -> _Files:
    from .timeline import timeline_text

    text = timeline_text(task.delivery, task.folder)
    yield f"{task.delivery.sequence}.otio", text.encode()


def _picture(task: _Task, shot: _Shot) -> _Files:
    from ..review.picture import picture
    from ..review.shown import shown_of

    yield f"{shot.name}.svg", f"{picture(shown_of(shot.table))}\n".encode()


def _frames(task: _Task, shot: _Shot) -> _Files:
    from .frames import file_names, frame_pictures

    frames = shot.curve.frame.tolist()
    paths = dict(zip(frames, file_names(shot.name, frames), strict=True))
    pictures = frame_pictures(
        shot.curve, shot.table, shot.row, task.delivery.clock, task.wanted.width
    )
    for frame, data in pictures:
        yield paths[frame], data


def _stills(task: _Task, shot: _Shot) -> _Files:
    from .stills import stills

    width, suffix = task.wanted.width, task.wanted.suffix
    for plot, data in stills(shot.curve, shot.table, width=width, suffix=suffix):
        yield f"{shot.name}_{plot}{suffix}", data


_OF_SHOT: dict[str, Callable[[_Task, _Shot], _Files]] = {
    "usd": _usd,
    "gltf": _gltf,
    "csv": _csv,
    "opentrackio": _opentrackio,
    "fdl": _fdl,
    "picture": _picture,
    "frames": _frames,
    "stills": _stills,
}
_OF_SEQUENCE: dict[str, Callable[[_Task], _Files]] = {
    "usd": _usd_sequence,
    "timeline": _timeline,
}
