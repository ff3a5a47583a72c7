"""The commands that show the results of a solve."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from .groups import LOOK, example

if TYPE_CHECKING:
    from ..review.compare import Side


def register(app: typer.Typer) -> None:
    """Add the commands of this file to a command line."""
    app.command(rich_help_panel=LOOK, epilog=example("review takes"))(review)
    app.command(rich_help_panel=LOOK, epilog=example("compare monday tuesday"))(compare)
    app.command(rich_help_panel=LOOK, epilog=example("decide job.toml notes.toml"))(
        decide
    )


def review(
    out: Annotated[str, typer.Argument(metavar="OUT", help="Where the takes are.")],
    workers: Annotated[
        int | None,
        typer.Option(
            min=1, help="Processes that write; default: as many as are worth it."
        ),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """Write the pages of the review that changed."""
    from ..errors import InputError
    from ..places.place import place_of
    from ..review.write import write_review, write_with
    from ..takes.store import stores_below
    from .terminal import print_json, progress_bar

    place = place_of(out, "OUT")
    stores = [store for store in stores_below(place) if store.sequence.is_file()]
    if not stores:
        raise InputError(str(place), "holds no solved sequence")
    written = []
    for store in stores:
        with progress_bar("pages") as progress:
            written.append(
                write_review(store.folder, progress=progress, write=write_with(workers))
            )
    if as_json:
        print_json({"reviews": [str(path) for path in written]})
    else:
        for path in written:
            typer.echo(f"review: {path}")


def compare(
    one: Annotated[
        str, typer.Argument(metavar="A", help="The earlier solve: where its takes are.")
    ],
    two: Annotated[
        str | None,
        typer.Argument(
            metavar="[B]",
            help="The later solve; default: A against the solve before it.",
        ),
    ] = None,
    page: Annotated[
        Path | None,
        typer.Option("--page", metavar="FILE", help="Write a page as well."),
    ] = None,
    runner_up: Annotated[
        Path | None,
        typer.Option(
            "--runner-up",
            metavar="JOB",
            help="Compare with the next best setups, solved from this job.",
        ),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """Tell what changed between two solves of a sequence."""
    from ..places.atomic import write_whole
    from ..places.place import local_path, place_of
    from ..review.compare import compare as compared
    from ..review.compare import difference_lines, side_before, side_of
    from .terminal import print_json

    if page is not None:
        page = local_path(page, "--page")
    first = side_of(place_of(one, "A"))
    if runner_up is not None:
        _runner_ups(first, runner_up, two=two, page=page, as_json=as_json)
        return
    after = first if two is None else side_of(place_of(two, "B"))
    before = side_before(after) if two is None else first
    differences = compared(before, after)
    if page is not None:
        from ..review.compare_page import compare_page

        text = compare_page(differences, before=before, after=after)
        write_whole(page, text.encode())
    if as_json:
        print_json(
            {
                "before": before.label,
                "after": after.label,
                "shots": [each.plain() for each in differences],
            }
        )
    else:
        for line in difference_lines(differences):
            typer.echo(line)


def _runner_ups(
    side: "Side", job: Path, *, two: str | None, page: Path | None, as_json: bool
) -> None:
    """Tell how the next best setups of a solve differ from the chosen ones."""
    from ..errors import InputError
    from ..places.atomic import write_whole
    from ..review.runner_up_page import runner_up_lines, runner_up_page
    from ..run.runner_ups import runner_up_takes
    from .terminal import print_json

    if two is not None:
        option = "--runner-up"
        raise InputError(option, "compares one solve; leave B out")
    takes = list(runner_up_takes(job, side.store))
    if page is not None:
        write_whole(page, runner_up_page(takes, label=side.label).encode())
    lines = runner_up_lines(takes)
    if as_json:
        shots = [
            {"shot": one.shot, "runner_up": one.runner_up.plain()} for one in takes
        ]
        print_json({"before": side.label, "shots": shots})
    else:
        for line in lines:
            typer.echo(line)


def decide(
    job: Annotated[Path, typer.Argument(metavar="JOB", help="The job, in TOML.")],
    notes: Annotated[
        Path, typer.Argument(metavar="NOTES", help="Notes that a review gave.")
    ],
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """Write the notes of a review into the job."""
    from ..decide.notes import read_notes
    from ..decide.write import decide as written
    from .terminal import print_json

    lines = written(job, read_notes(notes))
    if as_json:
        print_json({"job": str(job), "written": lines})
    elif lines:
        for line in lines:
            typer.echo(line)
    else:
        typer.echo(f"{job} says all of it already")
