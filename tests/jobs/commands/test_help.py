"""Help lists every command in a group; each shows an example that is understood."""

import shlex
from importlib.metadata import version

import pytest
import typer

from carrellata.jobs.commands.groups import GROUPS
from carrellata.jobs.commands.solve import app
from carrellata.worker.cli import main

ALL = typer.main.get_command(app).commands  # type: ignore[attr-defined]
COMMANDS = {name: one for name, one in ALL.items() if not one.hidden}


def test_help_lists_every_command_under_its_group(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["--help"]) == 0
    section, listed = "", {}
    for line in capsys.readouterr().out.splitlines():
        if line.endswith(":") and not line.startswith(" "):
            section = line[:-1]
        elif not line:
            section = ""
        elif section in GROUPS and line.startswith("  "):
            listed[line.split()[0]] = section
    assert set(listed) == set(COMMANDS)
    assert {name: COMMANDS[name].rich_help_panel for name in listed} == listed
    assert listed["solve"] == "Solve"
    assert listed["sweeper"] == "Farm"
    assert set(listed.values()) == set(GROUPS)


def test_every_line_of_the_list_is_whole(capsys: pytest.CaptureFixture[str]) -> None:
    main(["--help"])
    assert "..." not in capsys.readouterr().out.replace("[ARGS]...", "")


@pytest.mark.parametrize("name", COMMANDS)
def test_a_command_shows_one_example_that_is_understood(name: str) -> None:
    program, said, *options = shlex.split(COMMANDS[name].epilog.partition(": ")[2])
    assert (program, said) == ("carrellata", name)
    COMMANDS[name].make_context(name, options)


def test_the_version_is_printed(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["--version"]) == 0
    assert capsys.readouterr().out == f"carrellata {version('carrellata')}\n"
