"""The commands that deliver takes, and the one that reads a cut."""

from pathlib import Path
from typing import Annotated, Literal

import typer

from ..export.form import Form
from .groups import DELIVER, example


def register(app: typer.Typer) -> None:
    """Add the commands of this file to a command line."""
    app.command(
        rich_help_panel=DELIVER, epilog=example("export takes --to usd --shots 010")
    )(export)
    app.command(rich_help_panel=DELIVER, epilog=example("callsheet takes"))(callsheet)
    app.command(rich_help_panel=DELIVER, epilog=example("cut reel.otio -o job.toml"))(
        cut
    )


def export(
    out: Annotated[str, typer.Argument(metavar="OUT", help="Where the takes are.")],
    to: Annotated[
        Form,
        typer.Option(help="Form of the delivery."),
    ],
    folder: Annotated[
        str | None,
        typer.Option(
            "-o", "--out", metavar="FOLDER", help="Default: export/ beside the takes."
        ),
    ] = None,
    shots: Annotated[
        str | None, typer.Option(metavar="A,B", help="Only these shots.")
    ] = None,
    names: Annotated[
        str,
        typer.Option(
            metavar="PATTERN", help="Names, from {sequence}, {shot}, {version}."
        ),
    ] = "{sequence}_{shot}_cam",
    keys: Annotated[
        Literal["frames", "sparse"],
        typer.Option(help="usd: every frame, or the plan's own knots."),
    ] = "frames",
    like: Annotated[
        Path | None,
        typer.Option(metavar="SCENE", help="usd: scene whose axes and units are used."),
    ] = None,
    width: Annotated[
        int, typer.Option(min=160, max=7680, help="frames, stills: pixels across.")
    ] = 1280,
    svg: Annotated[bool, typer.Option("--svg", help="stills: SVG, not PNG.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """Write takes as cameras of a scene, tables or pictures."""
    from ..errors import Fault, InputError, JobError
    from ..export.write import ExportRequest, export_sequence
    from ..places.place import place_of
    from ..takes.store import stores_below
    from .terminal import print_json, progress_bar

    place = place_of(out, "OUT")
    stores = stores_below(place)
    if not stores:
        raise InputError(str(place), "holds no takes")
    if folder is not None and len(stores) > 1:
        message = f"{place} holds {len(stores)} sequences; name the folder of one"
        raise JobError((Fault(path="--out", message=message),))
    wanted = ExportRequest(
        to=to,
        folder=None if folder is None else place_of(folder, "--out"),
        shots=None if shots is None else [n.strip() for n in shots.split(",")],
        names=names,
        keys=keys,
        like=like,
        width=width,
        suffix=".svg" if svg else ".png",
    )
    done = []
    with progress_bar() as progress:
        for store in stores:
            done.append(export_sequence(store, wanted, progress))
    if as_json:
        print_json(
            [
                {
                    "sequence": one.sequence,
                    "folder": str(one.folder),
                    "files": [str(path) for path in one.files],
                    "notes": list(one.notes),
                }
                for one in done
            ]
        )
        return
    for one in done:
        for note in one.notes:
            typer.echo(f"note: {note}", err=True)
        typer.echo(f"{one.sequence}: {len(one.files)} files in {one.folder}")


def callsheet(
    out: Annotated[str, typer.Argument(metavar="OUT", help="Where the takes are.")],
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """List the setups by rig and lens, and the track needed."""
    from dataclasses import asdict

    from ..errors import InputError
    from ..places.place import place_of
    from ..review.call_sheet import call_sheet_lines, called_setups, stock
    from ..takes.curves import read_delivery
    from ..takes.store import stores_below
    from .terminal import print_json

    place = place_of(out, "OUT")
    stores = stores_below(place)
    if not stores:
        raise InputError(str(place), "holds no takes")
    sheets = []
    for store in stores:
        delivery = read_delivery(store)
        setups = called_setups(delivery)
        sheets.append(
            {
                "sequence": delivery.sequence,
                "setups": [asdict(one) for one in setups],
                "track": stock(setups),
            }
        )
        if not as_json:
            typer.echo(f"{delivery.sequence}: {len(setups)} setups")
            for line in call_sheet_lines(setups):
                typer.echo(line)
    if as_json:
        print_json(sheets)


def cut(
    timeline: Annotated[
        Path, typer.Argument(metavar="CUT", help="OpenTimelineIO timeline.")
    ],
    out: Annotated[
        Path | None,
        typer.Option(
            "-o", "--out", metavar="FILE", help="Write it here; default: print it."
        ),
    ] = None,
    handles: Annotated[
        int, typer.Option(min=0, max=1000, help="Handles wanted at both ends, frames.")
    ] = 8,
    number: Annotated[
        bool, typer.Option("--number", help="Name shots 010, 020, ... in order.")
    ] = False,
    against: Annotated[
        Path | None,
        typer.Option(metavar="OLD", help="The cut before: tell what changed."),
    ] = None,
    job: Annotated[
        Path | None,
        typer.Option(metavar="JOB", help="Its job, whose decisions go on."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """Write the shots of a cut as the start of a job file."""
    from ..coverage.cutlist import read_cut
    from ..errors import Fault, JobError
    from ..places.atomic import write_whole
    from ..places.place import local_path
    from .cut_text import cut_tables, cut_toml
    from .terminal import print_json

    if out is not None:
        out = local_path(out, "--out")
    if against is not None:
        files = (timeline, against, job, out)
        _compare_cuts(files, handles, number=number, as_json=as_json)
        return
    if job is not None:
        message = "needs --against, the cut that the job was made for"
        raise JobError((Fault(path="--job", message=message),))
    found = read_cut(timeline, handles=handles, number=number)
    if out is not None:
        write_whole(out, cut_toml(found).encode())
    for note in found.notes:
        typer.echo(f"note: {note}", err=True)
    if as_json:
        print_json(
            {
                **cut_tables(found),
                "cut": [
                    {"name": shot.name, "record": shot.record, "clip": shot.clip}
                    for shot in found.shots
                ],
                "notes": list(found.notes),
            }
        )
    elif out is None:
        typer.echo(cut_toml(found), nl=False)
    else:
        typer.echo(f"{len(found.shots)} shots in {out}")


def _compare_cuts(
    files: tuple[Path, Path, Path | None, Path | None],
    handles: int,
    *,
    number: bool,
    as_json: bool,
) -> None:
    """Tell what a new cut did to an old one; write the job that goes on with it."""
    from ..coverage.cutlist import read_cut
    from ..job.load import read_tables
    from ..places.atomic import write_whole
    from .cut_changes import carried_job, change_lines, changes_between, job_toml
    from .cut_text import cut_tables
    from .terminal import print_json

    timeline, against, job, out = files
    new = read_cut(timeline, handles=handles, number=number, retimed=True)
    old = read_cut(against, handles=handles, number=number, retimed=True)
    changes = changes_between(new, old)
    tables = cut_tables(new) if job is None else read_tables(job)
    whole, notes = carried_job(tables, new, changes)
    if out is not None:
        write_whole(out, job_toml(whole).encode())
    if as_json:
        print_json(
            {
                "shots": [
                    {
                        "name": one.shot.name,
                        "change": one.change,
                        "was": None if one.old is None else one.old.name,
                        "frames": list(one.shot.frames),
                        "speed": one.shot.speed,
                    }
                    for one in changes.shots
                ],
                "gone": [one.name for one in changes.gone],
                "notes": [*new.notes, *notes],
            }
        )
        return
    for note in (*new.notes, *notes):
        typer.echo(f"note: {note}", err=True)
    for line in change_lines(changes):
        typer.echo(line)
    if out is not None:
        typer.echo(f"{len(new.shots)} shots in {out}")
