"""The command that studies cameras which were made elsewhere."""

import json
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from .groups import STUDY, example

if TYPE_CHECKING:
    from ..study.run import Studied
    from ..study.spec import StudyFile


def register(app: typer.Typer) -> None:
    """Add the command of this file to a command line."""
    app.command(
        rich_help_panel=STUDY,
        epilog=example("study takes/night/takes/010.parquet --subject walk.csv"),
    )(study)


def study(
    camera: Annotated[
        Path,
        typer.Argument(
            metavar="CAMERA",
            help="A take, a table of a camera's curves, an OpenUSD scene, or a study "
            "file (TOML, JSON) that lists cameras.",
        ),
    ],
    subject: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE", help="Motion of the subject, with a single camera."
        ),
    ] = None,
    at: Annotated[
        str, typer.Option(help="Where on the body its samples are.")
    ] = "floor",
    height_m: Annotated[float, typer.Option(help="Its stature, m.")] = 1.7,
    rate: Annotated[str, typer.Option(help="Frames a second.")] = "24",
    up: Annotated[str, typer.Option(help="Up axis, y or z.")] = "y",
    metres_per_unit: Annotated[
        float, typer.Option(help="Metres in a scene unit.")
    ] = 1.0,
    back: Annotated[str, typer.Option(help="Film back.")] = "super35-4perf",
    aspect: Annotated[float, typer.Option(help="Delivered aspect.")] = 2.39,
    kit: Annotated[
        str | None, typer.Option(metavar="18,25,..", help="Focal lengths, mm.")
    ] = None,
    lens_mm: Annotated[
        float | None, typer.Option(help="Focal length of a table without focal_mm.")
    ] = None,
    size: Annotated[
        str | None, typer.Option(help="Named size of the shot, where it is known.")
    ] = None,
    prim: Annotated[
        str | None, typer.Option(help="Path of the camera in an OpenUSD scene.")
    ] = None,
    fit: Annotated[
        bool | None,
        typer.Option(
            "--fit/--no-fit",
            help="Fit a crew to each camera; default: only to a single one.",
        ),
    ] = None,
    preset: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write the fitted crew here.")
    ] = None,
    habits: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write lens and size use here.")
    ] = None,
    out: Annotated[
        str | None,
        typer.Option("-o", "--out", metavar="OUT", help="Folder for table and page."),
    ] = None,
    fail_on: Annotated[
        str | None,
        typer.Option(
            metavar="SEVERITY",
            help="Exit with 5 if a finding is as severe as this, or more: note, "
            "warning, fault.",
        ),
    ] = None,
    workers: Annotated[
        int | None,
        typer.Option(min=1, help="Processes; default: as many as are worth it."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """Measure cameras made elsewhere against their subjects."""
    from ..errors import Fault, JobError
    from ..places.place import local_path, place_of
    from ..study.run import study_all
    from .terminal import print_json, progress_bar

    severity = None if fail_on is None else _severity(fail_on)
    place = None if out is None else place_of(out, "--out")
    for path, option in ((preset, "--preset"), (habits, "--habits")):
        if path is not None:
            local_path(path, option)
    if camera.suffix.lower() in (".toml", ".json"):
        from ..study.spec import load_study

        file, folder = load_study(camera), camera.parent
    else:
        if subject is None:
            message = "is required with a single camera"
            raise JobError((Fault(path="--subject", message=message),))
        single: dict[str, Any] = {
            "file": str(camera.resolve()),
            "name": "camera",
            "subject": {
                "name": "subject",
                "file": str(subject.resolve()),
                "at": at,
                "height_m": height_m,
            },
        }
        optional = {"lens_mm": lens_mm, "size": size, "prim": prim}
        single |= {name: value for name, value in optional.items() if value is not None}
        file = _single(single, rate, up, metres_per_unit, back, aspect, kit, lens_mm)
        folder = Path()
    search = fit if fit is not None else len(file.cameras) == 1
    with progress_bar() as progress:
        found = study_all(
            file,
            folder,
            fit=search,
            workers=workers,
            keep=preset is not None,
            progress=progress,
        )
    if place is not None:
        from ..study.report import write_report

        write_report(place, file, found)
    if as_json:
        print_json(_plain(file, found))
    else:
        _say(file, found)
    _write_learned(file, found, preset, habits)
    if any(one.faults for one in found):
        raise typer.Exit(1)
    if severity is not None and any(
        finding.reaches(severity) for one in found for finding in one.findings
    ):
        raise typer.Exit(5)


def _severity(text: str) -> str:
    from ...solver.cuts.findings import SEVERITIES
    from ..errors import Fault, JobError

    if text not in SEVERITIES:
        message = f'must be one of {", ".join(SEVERITIES)}, got "{text}"'
        raise JobError((Fault(path="--fail-on", message=message),))
    return text


def _single(
    camera: dict[str, Any],
    rate: str,
    up: str,
    metres_per_unit: float,
    back: str,
    aspect: float,
    kit: str | None,
    lens_mm: float | None,
) -> "StudyFile":
    from ..errors import Fault, JobError
    from ..study.spec import STUDY_SCHEMA, parse_study

    try:
        lenses = [float(mm) for mm in kit.split(",")] if kit else []
    except ValueError as error:
        fault = Fault(path="--kit", message=f'must be lengths in mm, got "{kit}"')
        raise JobError((fault,)) from error
    # Without a kit any lens is allowed; the schema asks for one all the same.
    table = {"film_back": back, "aspect": aspect, "lens_kit_mm": lenses or [50.0]}
    data = {
        "schema": STUDY_SCHEMA,
        "sequence": "study",
        "rate": rate,
        "world": {"up": up, "metres_per_unit": metres_per_unit},
        "camera": table,
        "any_lens": not lenses,
        "cameras": [camera],
    }
    return parse_study(data)


def _plain(file: "StudyFile", found: "list[Studied]") -> dict[str, Any]:
    from ..study.report import plain

    return plain(file, found)


def _say(file: "StudyFile", found: "list[Studied]") -> None:
    from ..study.report import use_of
    from ..study.words import finding_words, study_lines, use_lines
    from .terminal import print_faults

    for one in found:
        print_faults(one.faults)
        if not one.row:
            continue
        if len(found) == 1:
            for line in study_lines(one.row):
                typer.echo(line)
        else:
            typer.echo(f"{one.name}: {one.row['made_by']}")
        for finding in one.findings:
            typer.echo(
                f"{one.name}: {finding.severity}: {finding_words(finding, one.name)}"
            )
    kinds = Counter(one.row["made_by"] if one.row else "failed" for one in found)
    if len(found) > 1:
        counts = ", ".join(f"{count} {kind}" for kind, count in kinds.most_common())
        typer.echo(f"{file.sequence}: {counts}")
        for line in use_lines(use_of(file, found)):
            typer.echo(line)


def _write_learned(
    file: "StudyFile",
    found: "list[Studied]",
    preset: Path | None,
    habits: Path | None,
) -> None:
    from ..errors import InputError
    from ..places.atomic import write_whole
    from ..study.learned import crew_toml, habits_of, habits_toml

    if habits is not None:
        rows = [one.row for one in found if one.row]
        if not rows:
            raise InputError(str(habits), "no camera could be studied")
        learned = habits_of(rows)
        text = (
            json.dumps({"habits": learned.model_dump(mode="json")}, indent=2) + "\n"
            if habits.suffix == ".json"
            else habits_toml(learned)
        )
        write_whole(habits, text.encode())
    if preset is None:
        return
    crews = [one for one in found if one.study is not None]
    texts = [
        text
        for text in (
            crew_toml(one.study, preset.stem) for one in crews if one.study is not None
        )
        if text is not None
    ]
    if len(texts) != 1:
        why = "no crew explains it" if not texts else f"{len(texts)} cameras have one"
        raise InputError(str(preset), f"is written from one camera with a crew, {why}")
    write_whole(preset, texts[0].encode())
