"""The command line: one group here, one file per command, options in ``options``.

A command's module is imported when the command is named or listed; what is heavy (arrays,
units, tables) is imported inside the command, so that ``--help`` answers at once.
"""

from __future__ import annotations

import errno
import importlib
from typing import Any

import click

from limbsight import __version__
from limbsight.cli.options import ExitCode, fault_text
from limbsight.errors import LimbsightError

COMMANDS = {
    "read": "limbsight.cli.read_command",
    "reduce": "limbsight.cli.reduce_command",
}
"""Name of each command and the module that holds it, under that same name."""


class _BadInput(click.ClickException):
    exit_code = int(ExitCode.BAD_COMMAND_OR_FILES)


class _Fault(click.ClickException):
    exit_code = int(ExitCode.FAULT)


class CommandGroup(click.Group):
    """Imports commands late, and turns errors into one line and an exit code."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names of all commands."""
        return sorted(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import a command; None if there is none of that name."""
        if cmd_name not in COMMANDS:
            return None
        command = getattr(importlib.import_module(COMMANDS[cmd_name]), cmd_name)
        assert isinstance(command, click.Command)
        return command

    def invoke(self, ctx: click.Context) -> Any:
        """Run a command; what goes wrong leaves as a click exception."""
        try:
            return super().invoke(ctx)
        except (click.ClickException, click.exceptions.Exit, click.Abort):
            raise
        except LimbsightError as error:
            raise _BadInput(" ".join(str(error).split())) from error
        except Exception as error:
            broken_pipe = isinstance(error, OSError) and error.errno == errno.EPIPE
            if broken_pipe or ctx.params["traceback"]:
                raise
            raise _Fault(fault_text(error)) from error


@click.group(
    cls=CommandGroup,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 95},
    epilog="Example:  limbsight read fan.jpg --instrument fan.toml",
)
@click.version_option(__version__, prog_name="limbsight", message="%(prog)s %(version)s")
@click.option("--traceback", is_flag=True, help="Show where a fault of the program arose.")
def main(traceback: bool) -> None:
    """Read liquid-column manometers from photographs.

    Finds the height of the liquid in each limb and the pressure it means, each with its
    uncertainty, or says why a photo can't be read. `limbsight COMMAND --help` explains
    each command with an example.
    """
