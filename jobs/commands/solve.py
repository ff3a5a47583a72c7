"""The commands that start and solve on this machine.

Data goes to standard output, faults and progress to standard error. What a command
needs is imported when it runs, so that help and usage faults come at once.
"""

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ..errors import Fault, InputError, JobError
from ..processes.threads import use_one_thread
from . import bake as cli_bake
from . import deliver as cli_export
from . import look as cli_review
from . import new as cli_new
from . import study as cli_study
from .groups import SOLVE, START, GroupedCommands, example
from .terminal import faults_json, print_faults, print_json, progress_bars

if TYPE_CHECKING:
    from ..places.place import Place

app = typer.Typer(
    name="carrellata",
    cls=GroupedCommands,
    help="Solve the cameras of a sequence again after its action has changed.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


def _of_this_machine(job: Path) -> Path:
    from ..places.place import local_path

    return local_path(job, "JOB")


JobPath = Annotated[
    Path,
    typer.Argument(
        metavar="JOB", help="Job file, TOML or JSON.", callback=_of_this_machine
    ),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print JSON.")]


def _print_version(*, asked: bool) -> None:
    if asked:
        from importlib.metadata import version

        typer.echo(f"carrellata {version('carrellata')}")
        raise typer.Exit


@app.callback(epilog="carrellata COMMAND --help tells its options, with an example.")
def start(
    version: Annotated[
        bool,
        typer.Option(
            "--version",
            is_eager=True,
            callback=lambda asked: _print_version(asked=asked),
            help="Print the version and exit.",
        ),
    ] = False,
) -> None:
    """Solve the cameras of a sequence again after its action has changed."""
    use_one_thread()


cli_new.register(app)


@app.command(rich_help_panel=START, epilog=example("check job.toml"))
def check(job: JobPath, as_json: AsJson = False) -> None:
    """Read a job and its data; name everything that is wrong."""
    from ..run.check import check_job
    from .understood_table import plain_shots, understood_lines

    found, faults, notes, shots = check_job(job)
    n_frames = sum(spec.n_frames for spec in found.shots)
    if as_json:
        print_json(
            {
                "sequence": found.sequence,
                "shots": len(found.shots),
                "frames": n_frames,
                **faults_json(faults),
                "notes": list(notes),
                "understood": plain_shots(shots),
            }
        )
    else:
        print_faults(faults)
        for line in understood_lines(shots):
            typer.echo(line)
        for note in notes:
            typer.echo(f"note: {note}")
        typer.echo(f"{found.sequence}: {len(found.shots)} shots, {n_frames} frames")
    if faults:
        raise typer.Exit(1)


@app.command(rich_help_panel=SOLVE, epilog=example("solve job.toml -o takes"))
def solve(
    job: JobPath,
    out: Annotated[
        str,
        typer.Option(
            "-o", "--out", metavar="OUT", help="Folder, s3:// or gs:// for the takes."
        ),
    ],
    shots: Annotated[
        str | None, typer.Option(metavar="A,B", help="Only these shots.")
    ] = None,
    shard: Annotated[
        str | None,
        typer.Option(
            metavar="K/N", help="Only the K-th of N equal parts of the shots."
        ),
    ] = None,
    workers: Annotated[
        int | None,
        typer.Option(
            min=1, help="Processes that solve; default: as many as are worth it."
        ),
    ] = None,
    strict: Annotated[
        bool,
        typer.Option("--strict", help="Refuse the job if one shot's data is faulty."),
    ] = False,
    fail_on: Annotated[
        str | None,
        typer.Option(
            metavar="SEVERITY",
            help="Exit with 5 if a finding that nobody accepted is as severe as this, "
            "or more: note, warning, fault.",
        ),
    ] = None,
    explain: Annotated[
        str | None,
        typer.Option(metavar="A,B", help="Print why these shots have their setup."),
    ] = None,
    as_json: AsJson = False,
    verbose: Annotated[
        bool,
        typer.Option(
            "-v", "--verbose", help="Print measures and findings of each take."
        ),
    ] = False,
) -> None:
    """Solve the shots of a job and write their takes."""
    from ..places.place import place_of
    from ..run.local import solve_job
    from ..takes.continuity import reached
    from .action_lines import action_lines, covered, plain_actions
    from .report import (
        count_line,
        detail_line,
        finding_lines,
        findings_line,
        lenses_line,
        shot_lines,
        worst_first,
    )

    severity = None if fail_on is None else _severity(fail_on)
    explained = () if explain is None else _explained(job, _names(explain))
    with progress_bars("shots", "pages") as (progress, reporting):
        outcome = solve_job(
            job,
            place_of(out, "--out"),
            shots=None if shots is None else _names(shots),
            shard=None if shard is None else _shard(shard),
            workers=workers,
            strict=strict,
            progress=progress,
            reporting=reporting,
        )
    for note in outcome.notes:
        typer.echo(f"note: {note}", err=True)
    actions = covered(outcome.folder, outcome.actions)
    if as_json:
        print_json(
            {
                "sequence": outcome.sequence,
                "folder": str(outcome.folder),
                "actions": plain_actions(actions),
                "review": None if outcome.review is None else str(outcome.review),
                "shots": [
                    {
                        **row.plain(),
                        "setup": json.loads(row.setup),
                        "findings": json.loads(row.findings),
                        "claims": json.loads(row.claims),
                        "brings": json.loads(row.brings),
                        "takes": json.loads(row.takes),
                        "ends": None if row.ends is None else json.loads(row.ends),
                    }
                    for row in outcome.rows
                ],
            }
        )
    else:
        for line in shot_lines(outcome.rows):
            typer.echo(line)
        if verbose:
            for row in worst_first(outcome.rows):
                if row.measures:
                    typer.echo(f"{row.shot}: {detail_line(row.measures)}")
                for line in finding_lines(row):
                    typer.echo(f"{row.shot}: {line}")
            typer.echo(lenses_line(outcome.rows))
        for line in action_lines(outcome.folder, actions):
            typer.echo(line)
        typer.echo(findings_line(outcome.rows))
        typer.echo(f"{count_line(outcome.rows)}; takes in {outcome.folder}")
        for name in explained:
            for line in _explanation(outcome.folder, name):
                typer.echo(line)
        if outcome.review is not None:
            typer.echo(f"review: {outcome.review}")
    if outcome.failed:
        raise typer.Exit(1)
    if severity and reached((row.findings for row in outcome.rows), severity):
        raise typer.Exit(5)


@app.command(
    rich_help_panel=START, epilog=example("lenses job.toml --from full --to close")
)
def lenses(
    job: Annotated[
        Path | None, typer.Argument(metavar="[JOB]", help="Job with the cameras.")
    ] = None,
    height_m: Annotated[float, typer.Option(help="Stature of the subject, m.")] = 1.7,
    headroom: Annotated[float, typer.Option(help="Share of the frame height.")] = 0.08,
    back: Annotated[str | None, typer.Option(help="Film back, by name.")] = None,
    kit: Annotated[
        str | None, typer.Option(metavar="18,25,..", help="Focal lengths, mm.")
    ] = None,
    stop: Annotated[float | None, typer.Option(help="F-number.")] = None,
    aspect: Annotated[float | None, typer.Option(help="Delivered aspect.")] = None,
    before: Annotated[
        str | None, typer.Option("--from", metavar="SIZE", help="Size to change from.")
    ] = None,
    after: Annotated[
        str | None, typer.Option("--to", metavar="SIZE", help="Size to change to.")
    ] = None,
    picture: Annotated[
        Path | None,
        typer.Option(metavar="FILE.svg", help="Draw them too, the first camera's."),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Tell what each lens shows, from where, and how sharp."""
    from .lens_options import cameras_of_job, changed_camera, size_change, within_body
    from .lens_table import lens_table, plain_rows
    from .report import lens_lines

    if picture is not None:
        from .lens_picture import draw_lenses

    within_body(height_m, headroom)
    change = size_change(before, after)
    cameras = [(None, ())] if job is None else cameras_of_job(job)
    tables: list[dict[str, object]] = []
    for camera, names in cameras:
        asked = changed_camera(camera, back=back, kit=kit, stop=stop, aspect=aspect)
        rows = lens_table(asked, height_m=height_m, headroom=headroom, change=change)
        if picture is not None and not tables:
            draw_lenses(picture, asked, rows, height_m=height_m, headroom=headroom)
        tables.append({"shots": list(names), "lenses": plain_rows(rows)})
        if not as_json:
            if names:
                typer.echo(f"shots {', '.join(names)}")
            for line in lens_lines(rows, change):
                typer.echo(line)
    if as_json:
        print_json({"height_m": height_m, "headroom": headroom, "cameras": tables})


@app.command(rich_help_panel=START, epilog=example("schema"))
def schema(as_json: AsJson = False) -> None:
    """Print the JSON Schema of the job file."""
    from ..job.schema import job_schema

    print_json(job_schema())


@app.command(rich_help_panel=SOLVE, epilog=example("prune takes"))
def prune(
    out: Annotated[str, typer.Argument(metavar="OUT", help="Where the takes are.")],
    as_json: AsJson = False,
) -> None:
    """Remove takes from the history that others have replaced."""
    from ..places.place import place_of
    from ..takes.sequence_table import keys_side_by_side
    from ..takes.store import stores_below

    place = place_of(out, "OUT")
    stores = stores_below(place)
    if not stores:
        raise InputError(str(place), "holds no takes")
    removed = [
        path for one in stores for path in one.prune(keys_side_by_side(one.sequence))
    ]
    if as_json:
        print_json({"removed": [str(path) for path in removed]})
    else:
        typer.echo(f"{len(removed)} replaced takes removed")


cli_bake.register(app)
cli_export.register(app)
cli_review.register(app)
cli_study.register(app)


def _explained(job: Path, names: list[str]) -> tuple[str, ...]:
    """Return the shots to explain, in the job's order and spelling."""
    from ..job.load import load_job
    from ..run.asked import choose_shots

    return tuple(
        spec.name for spec in choose_shots(load_job(job), shots=names, flag="--explain")
    )


def _explanation(folder: "Place", name: str) -> Iterator[str]:
    from ..review.explain import explain_lines
    from ..takes.sequence_table import read_sequence
    from ..takes.store import Store

    store = Store(folder=folder)
    for row in read_sequence(store.sequence):
        if row.shot == name:
            yield from explain_lines(row, store)


def _names(text: str) -> list[str]:
    return [name.strip() for name in text.split(",") if name.strip()]


def _severity(text: str) -> str:
    from ...solver.cuts.findings import SEVERITIES

    if text not in SEVERITIES:
        message = f'must be one of {", ".join(SEVERITIES)}, got "{text}"'
        raise JobError((Fault(path="--fail-on", message=message),))
    return text


def _shard(text: str) -> tuple[int, int]:
    found = re.fullmatch(r"([0-9]{1,6})/([0-9]{1,6})", text, re.ASCII)
    if found is None:
        message = f'must be K/N such as 3/16, got "{text}"'
        raise JobError((Fault(path="--shard", message=message),))
    return int(found[1]), int(found[2])
