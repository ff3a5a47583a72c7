"""Writes the takes of a sequence in the form that was asked for."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal, get_args

from ..errors import Fault, JobError
from ..places.atomic import write_whole
from ..places.place import Place
from ..takes.curves import Delivery, read_delivery
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
    folder = _folder(store, wanted)
    files: list[Place] = []
    notes = [f"{shot} has no take and is left out" for shot in delivery.missing]

    def put(name: str, data: bytes) -> None:
        write_whole(folder / name, data)
        files.append(folder / name)

    _WRITERS[wanted.to](delivery, names, wanted, put, notes, progress)
    return Exported(
        sequence=delivery.sequence,
        folder=folder,
        files=tuple(files),
        notes=tuple(notes),
    )


def _folder(store: Store, wanted: ExportRequest) -> Place:
    return wanted.folder or store.folder / "export" / wanted.to


_Put = Callable[[str, bytes], None]


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


def _write_usd(
    delivery: Delivery,
    names: list[str],
    wanted: ExportRequest,
    put: _Put,
    notes: list[str],
    progress: Progress | None,
) -> None:
    from .usd_sequence import usd_sequence, world_like

    curves = delivery.curves
    world = curves[0].world
    if wanted.like is not None:
        world = world_like(wanted.like, curves)
    sequence = delivery.sequence
    if sequence.lower() in {name.lower() for name in names}:
        message = f'gives a shot the name of the sequence, "{sequence}"'
        raise JobError((Fault(path="--names", message=message),))
    for one, name in zip(curves, names, strict=True):
        files = usd_shot(one, name=name, world=world, keys=wanted.keys)
        if files.shake is not None:
            put(f"{shake_name(name)}.usda", files.shake.encode())
        put(f"{name}.usda", files.shot.encode())
        _tell(progress, one.shot, len(curves))
    put(f"{sequence}.usda", usd_sequence(sequence, curves, names, world).encode())
    if wanted.keys == "sparse":
        notes.append("sparse keys are splines, which OpenUSD reads from 25.05 on")


def _write_gltf(
    delivery: Delivery,
    names: list[str],
    wanted: ExportRequest,
    put: _Put,
    notes: list[str],
    progress: Progress | None,
) -> None:
    from .gltf import angle_is_widened, gltf_bytes

    for one, name in zip(delivery.curves, names, strict=True):
        put(f"{name}.glb", gltf_bytes(one, name=name))
        if angle_is_widened(one):
            notes.append(
                f"{one.shot}: its frame is not centred on the lens, which glTF cannot "
                "say; the angle of view is widened so that the frame is inside it"
            )
        _tell(progress, one.shot, len(names))


def _write_csv(
    delivery: Delivery,
    names: list[str],
    wanted: ExportRequest,
    put: _Put,
    notes: list[str],
    progress: Progress | None,
) -> None:
    from .csv_table import csv_text

    for one, table, name in zip(delivery.curves, delivery.tables, names, strict=True):
        put(f"{name}.csv", csv_text(one, table).encode())
        _tell(progress, one.shot, len(names))


def _write_opentrackio(
    delivery: Delivery,
    names: list[str],
    wanted: ExportRequest,
    put: _Put,
    notes: list[str],
    progress: Progress | None,
) -> None:
    from .opentrackio import opentrackio_lines

    for one, name in zip(delivery.curves, names, strict=True):
        put(f"{name}.jsonl", opentrackio_lines(one, delivery.clock).encode())
        _tell(progress, one.shot, len(names))


def _write_fdl(
    delivery: Delivery,
    names: list[str],
    wanted: ExportRequest,
    put: _Put,
    notes: list[str],
    progress: Progress | None,
) -> None:
    from .framing_list import framing_list

    for one, name in zip(delivery.curves, names, strict=True):
        put(f"{name}.fdl", framing_list(one).encode())
        _tell(progress, one.shot, len(names))


def _write_timeline(
    delivery: Delivery,
    names: list[str],
    wanted: ExportRequest,
    put: _Put,
    notes: list[str],
    progress: Progress | None,
) -> None:
    from .timeline import timeline_text

    folder = _folder(delivery.store, wanted)
    put(f"{delivery.sequence}.otio", timeline_text(delivery, folder).encode())


def _write_picture(
    delivery: Delivery,
    names: list[str],
    wanted: ExportRequest,
    put: _Put,
    notes: list[str],
    progress: Progress | None,
) -> None:
    from ..review.picture import picture
    from ..review.shown import shown_of

    for one, table, name in zip(delivery.curves, delivery.tables, names, strict=True):
        put(f"{name}.svg", f"{picture(shown_of(table))}\n".encode())
        _tell(progress, one.shot, len(names))


def _write_frames(
    delivery: Delivery,
    names: list[str],
    wanted: ExportRequest,
    put: _Put,
    notes: list[str],
    progress: Progress | None,
) -> None:
    from .frames import file_names, frame_pictures

    each = zip(delivery.rows, delivery.curves, delivery.tables, names, strict=True)
    for row, one, table, name in each:
        paths = dict(
            zip(one.frame.tolist(), file_names(name, one.frame.tolist()), strict=True)
        )
        for frame, data in frame_pictures(
            one, table, row, delivery.clock, wanted.width
        ):
            put(paths[frame], data)
        _tell(progress, one.shot, len(names))


def _write_stills(
    delivery: Delivery,
    names: list[str],
    wanted: ExportRequest,
    put: _Put,
    notes: list[str],
    progress: Progress | None,
) -> None:
    from .stills import stills

    for one, table, name in zip(delivery.curves, delivery.tables, names, strict=True):
        plots = stills(one, table, width=wanted.width, suffix=wanted.suffix)
        for plot, data in plots:
            put(f"{name}_{plot}{wanted.suffix}", data)
        _tell(progress, one.shot, len(names))


def _tell(progress: Progress | None, shot: str, total: int) -> None:
    if progress is not None:
        progress(shot, total)


_WRITERS: dict[str, Callable[..., None]] = {
    "usd": _write_usd,
    "gltf": _write_gltf,
    "csv": _write_csv,
    "opentrackio": _write_opentrackio,
    "fdl": _write_fdl,
    "timeline": _write_timeline,
    "picture": _write_picture,
    "frames": _write_frames,
    "stills": _write_stills,
}
