"""The command that bakes the set of a scene, for machines that open no scenes."""

from pathlib import Path
from typing import Annotated

import typer

from .groups import START, example
from .terminal import print_json


def register(app: typer.Typer) -> None:
    """Add the command of this file to a command line."""
    line = "bake-set hall.usda -o hall.parquet --prim /World/set"
    app.command("bake-set", rich_help_panel=START, epilog=example(line))(bake_set)


def bake_set(
    scene: Annotated[
        Path, typer.Argument(metavar="SCENE", help="OpenUSD or glTF scene.")
    ],
    out: Annotated[
        Path, typer.Option("-o", "--out", metavar="FILE", help="A .parquet file.")
    ],
    prim: Annotated[
        list[str] | None,
        typer.Option(metavar="PATH", help="Of the set; may be repeated. Default: all."),
    ] = None,
    wild: Annotated[
        list[str] | None,
        typer.Option(metavar="PATH", help="May be taken out; may be repeated."),
    ] = None,
    thin_m: Annotated[
        float, typer.Option("--thin-m", help="Nothing thinner hides anybody.")
    ] = 0.02,
    units: Annotated[
        str | None,
        typer.Option(help="OpenUSD that does not say it: m, cm, mm, in, ft or metres."),
    ] = None,
    up: Annotated[
        str | None, typer.Option(help="OpenUSD that does not say it: y or z.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """Write a scene's set as a file for farm and service."""
    from pydantic import ValidationError

    from ..errors import Fault, InputError, JobError
    from ..job.faults import schema_findings
    from ..job.locations import path_text
    from ..job.stage import SetSpec
    from ..places.atomic import write_whole
    from ..scene.baked import BAKED_SUFFIX, read_baked
    from ..scene.faults import SetError
    from ..scene.read import baked_bytes, label_of

    if out.suffix.lower() != BAKED_SUFFIX:
        raise InputError(str(out), f"must end in {BAKED_SUFFIX}")
    fields = {"file": scene.name, "prims": prim or [], "wild": wild or []}
    said = {"thin_m": thin_m, "units": _number_or_name(units), "up": up}
    try:
        asked = SetSpec.model_validate({**fields, **said})
    except ValidationError as error:
        found = schema_findings(error, SetSpec)
        raise JobError(
            tuple(Fault(path=path_text("", place), message=m) for place, m in found)
        ) from error
    try:
        data = baked_bytes(asked, scene.parent, "set")
        baked = read_baked(data, "set.file", label_of(asked))
    except SetError as error:
        raise JobError(error.faults) from error
    write_whole(out, data)
    mesh = baked.mesh
    low, high = mesh.bounds
    size = [round(float(side), 2) for side in (high - low)[[0, 2, 1]]]
    wild_names = [mesh.names[k] for k in mesh.wild.nonzero()[0]]
    told = {
        "file": str(out),
        "digest": baked.digest,
        "parts": len(mesh.names),
        "triangles": len(mesh.corners),
        "bytes": len(data),
        "size_m": size,
        "wild": wild_names,
    }
    if as_json:
        print_json(told)
        return
    typer.echo(
        f"{out}: {len(mesh.names)} parts, {len(mesh.corners)} triangles, "
        f"{size[0]:g} x {size[1]:g} x {size[2]:g} m, {len(data) / 1000:.0f} kB"
    )
    if wild_names:
        typer.echo(f"may be taken out: {', '.join(wild_names)}")


def _number_or_name(text: str | None) -> float | str | None:
    """Return a unit as a job gives it: a number of metres, or a name."""
    try:
        return None if text is None else float(text)
    except ValueError:
        return text
