"""The commands of the service: `serve` and `token`.

What they need is imported when they run, so that help stays quick.
"""

import os
import re
from pathlib import Path
from typing import Annotated

import typer

from ...jobs.commands.groups import SERVICE, example
from ...jobs.commands.solve import app
from ...jobs.commands.terminal import print_json
from ...jobs.errors import InputError

_DEFAULT_PORT = 8791
_TOKEN_VARIABLE = "CARRELLATA_TOKEN"
_NEEDED = ("fastapi", "uvicorn", "prometheus_client")

Folder = Annotated[Path | None, typer.Option(metavar="FOLDER")]


@app.command(rich_help_panel=SERVICE, epilog=example("serve --tokens tokens.toml"))
def serve(
    host: Annotated[str, typer.Option(help="Address to listen on.")] = "127.0.0.1",
    port: Annotated[
        int, typer.Option(min=0, max=65535, help="Port; 0 takes a free one.")
    ] = _DEFAULT_PORT,
    root: Annotated[
        Path | None,
        typer.Option(help="Folder that subject files are read from; default none."),
    ] = None,
    out: Annotated[
        Path | None, typer.Option("-o", "--out", help="Folder for takes of batches.")
    ] = None,
    state: Annotated[
        Path | None, typer.Option(help="Folder for the service's records.")
    ] = None,
    tokens: Annotated[
        Path | None,
        typer.Option(help=f"File of tokens; default one, ${_TOKEN_VARIABLE}."),
    ] = None,
    processes: Annotated[
        int | None, typer.Option(min=1, help="Processes that solve; default: all.")
    ] = None,
    queue: Annotated[
        int, typer.Option(min=1, help="Most takes that wait for a process.")
    ] = 256,
    cache_mb: Annotated[
        int, typer.Option(min=1, help="Memory for solved takes, MB.")
    ] = 256,
    solve_s: Annotated[
        float, typer.Option(min=0.001, help="Longest time for a take, s.")
    ] = 60.0,
    keep_days: Annotated[
        float, typer.Option(min=0, help="Days that records of ended batches are kept.")
    ] = 14.0,
    body_s: Annotated[
        float, typer.Option(min=0.1, help="Longest time for a request to arrive, s.")
    ] = 20.0,
    embedded: Annotated[
        bool,
        typer.Option(
            "--embedded", help="Solve batches here, whatever the environment."
        ),
    ] = False,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """Answer requests for takes and batches over HTTP."""
    _need_extra()
    from ...jobs.places.place import local_path
    from .serve import run_service
    from .settings import ServiceSettings, default_state

    for path, option in ((out, "--out"), (state, "--state")):
        if path is not None:
            local_path(path, option)
    folder = (state or default_state()).resolve()
    given = {} if processes is None else {"processes": processes}
    settings = ServiceSettings(
        state=folder,
        out=(out or folder / "takes").resolve(),
        root=None if root is None else _folder(root),
        tokens=tokens,
        token=None if tokens is not None else _one_token(as_json=as_json),
        queue=queue,
        farm=_has_farm() and not embedded,
        cache_bytes=cache_mb * 2**20,
        solve_s=solve_s,
        keep_s=86_400.0 * keep_days,
        body_s=body_s,
        **given,
    )

    def listening(address: str) -> None:
        if as_json:
            print_json({"address": address})
        else:
            typer.echo(f"listening on {address}")

    run_service(settings, host=host, port=port, listening=listening)


@app.command(rich_help_panel=SERVICE, epilog=example("token north --add tokens.toml"))
def token(
    project: Annotated[
        str, typer.Argument(help="Project whose takes it opens.")
    ] = "local",
    add: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Add its digest to a file of tokens."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print JSON.")] = False,
) -> None:
    """Make a token for the service; it is printed once."""
    _need_extra()
    from ...jobs.job.quantities import NAME_PATTERN
    from .auth import new_token, token_entry

    if re.fullmatch(NAME_PATTERN, project) is None:
        field = "PROJECT"
        raise InputError(field, 'must be 1 to 64 letters, digits, "_" or "-"')
    fresh = new_token()
    entry = token_entry(project, fresh)
    if add is not None:
        _append(add, entry)
    if as_json:
        print_json({"project": project, "token": fresh})
    else:
        typer.echo(fresh)


def _append(file: Path, entry: str) -> None:
    """Add lines to a file that only its owner reads."""
    descriptor = os.open(file, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o600)
    with os.fdopen(descriptor, "w", encoding="utf-8") as stream:
        stream.write(entry)


def _has_farm() -> bool:
    from ..farm.settings import has_broker

    return has_broker()


def _folder(path: Path) -> Path:
    if not path.is_dir():
        raise InputError(str(path), "is not a folder")
    return path.resolve()


def _one_token(*, as_json: bool) -> str:
    """Return the token of the environment, or a fresh one that is told."""
    from .auth import new_token

    given = os.environ.get(_TOKEN_VARIABLE)
    if given:
        return given
    fresh = new_token()
    if as_json:
        raise InputError(_TOKEN_VARIABLE, "is not set; `carrellata token` makes one")
    typer.echo(f"{_TOKEN_VARIABLE}={fresh}")
    return fresh


def _need_extra() -> None:
    from importlib.util import find_spec

    for name in _NEEDED:
        if find_spec(name) is None:
            field = "the service"
            message = f'needs {name}: pip install "carrellata[service]"'
            raise InputError(field, message)
