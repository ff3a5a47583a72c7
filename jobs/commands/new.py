"""The commands that start: a job of one's own, and completion for the shell."""

from pathlib import Path
from typing import Annotated, Any

import typer

from .groups import START, example

FILES = ("job.toml", "walk.csv")
_SHELLS = {
    "bash": """\
_carrellata() {
    local IFS=$'\\n'
    COMPREPLY=($(carrellata complete -- "${COMP_WORDS[@]:1:COMP_CWORD}" 2>/dev/null))
}
complete -o default -F _carrellata carrellata
""",
    "zsh": """\
#compdef carrellata
_carrellata() {
    local -a found
    found=("${(@f)$(carrellata complete -- "${(@)words[2,CURRENT]}" 2>/dev/null)}")
    [[ -n "$found" ]] && compadd -a found || _files
}
compdef _carrellata carrellata
""",
    "fish": """\
complete -c carrellata -a \
'(carrellata complete -- (commandline -opc)[2..] (commandline -ct) 2>/dev/null)'
""",
}


def register(app: typer.Typer) -> None:
    """Add the commands of this file to a command line."""
    app.command(rich_help_panel=START, epilog=example("new my_first"))(new)
    app.command(rich_help_panel=START, epilog=example("completion bash"))(completion)
    app.command(hidden=True)(complete)


def new(
    folder: Annotated[
        Path, typer.Argument(metavar="DIR", help="Folder for the job; made if needed.")
    ],
) -> None:
    """Write a small job that solves, with a subject and comments."""
    from ..errors import InputError
    from ..places.atomic import write_whole
    from ..places.place import local_path

    place = local_path(folder, "DIR")
    there = [name for name in FILES if (place / name).exists()]
    if there:
        raise InputError(str(place / there[0]), "is there already; name a new folder")
    place.mkdir(parents=True, exist_ok=True)
    source = Path(__file__).parents[1] / "examples" / "first"
    for name in FILES:
        write_whole(place / name, (source / name).read_bytes())
    typer.echo(f"{place / 'job.toml'} is a job of one shot; solve it by")
    typer.echo(f"  carrellata solve {place / 'job.toml'} -o {place / 'takes'}")


def completion(
    shell: Annotated[str, typer.Argument(metavar="SHELL", help="bash, zsh or fish.")],
) -> None:
    """Print the script by which a shell completes commands."""
    from ..errors import Fault, JobError

    if shell not in _SHELLS:
        message = f'must be one of {", ".join(_SHELLS)}, got "{shell}"'
        raise JobError((Fault(path="SHELL", message=message),))
    typer.echo(_SHELLS[shell], nl=False)


def complete(
    context: typer.Context,
    words: Annotated[list[str] | None, typer.Argument(metavar="WORDS")] = None,
) -> None:
    """Print what the last word of a line may become."""
    *before, last = words or [""]
    root = context.find_root().command
    for one in completions(root, before, last):
        typer.echo(one)


def completions(root: Any, before: list[str], last: str) -> list[str]:
    """Return what a word may become: a command, or an option of one.

    Args:
        root: the group of all commands.
        before: words before it, without the name of the program.
        last: the word so far.
    """
    commands = root.commands
    if not before:
        names = [name for name, one in commands.items() if not one.hidden]
        return sorted(name for name in names if name.startswith(last))
    command = commands.get(before[0])
    if command is None:
        return []
    if not last.startswith("-"):
        return []
    options = {name for one in command.params for name in one.opts}
    return sorted(name for name in options if name[0] == "-" and name.startswith(last))
