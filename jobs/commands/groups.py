"""The list of commands in groups, as `carrellata --help` prints it.

A command names its group when it is registered, by `rich_help_panel`.
"""

from typing import Any

from typer.core import TyperGroup

START, SOLVE, LOOK, DELIVER = "Start", "Solve", "Look", "Deliver"
STUDY, FARM, SERVICE = "Study", "Farm", "Service"
GROUPS = (START, SOLVE, LOOK, DELIVER, STUDY, FARM, SERVICE)
"""Names of the groups, in the order in which they are listed."""


class GroupedCommands(TyperGroup):
    """A command line whose help lists its commands by group."""

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        """Write a section for each group that has commands.

        Args:
            ctx: of the call.
            formatter: that the help is written to.
        """
        names = self.list_commands(ctx)
        limit = formatter.width - 6 - max(map(len, names))
        for group in GROUPS:
            rows = [
                (name, command.get_short_help_str(limit))
                for name in names
                if (command := self.get_command(ctx, name)) is not None
                and getattr(command, "rich_help_panel", None) == group
            ]
            if rows:
                with formatter.section(group):
                    formatter.write_dl(rows)


def example(line: str) -> str:
    """Return the end of a command's help: one line that shows how it is called."""
    return f"Example: carrellata {line}"
