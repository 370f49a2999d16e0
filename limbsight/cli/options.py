"""Options and exit codes that several commands share."""

from __future__ import annotations

from enum import IntEnum
from pathlib import Path

import click

from limbsight.errors import InputError

DEFAULT_UNIT = "kPa"


class ExitCode(IntEnum):
    """What a command's exit status says."""

    ALL_READ = 0
    LOOK_NEEDED = 1
    BAD_COMMAND_OR_FILES = 2
    FAULT = 3


EXIT_CODE_HELP = (
    "Exit codes:  0 all read;  1 some need a look or were refused;  "
    "2 bad command or files;  3 a fault of the program"
)


def fault_text(error: Exception) -> str:
    """One line for an error that nobody foresaw."""
    what = " ".join(f"{type(error).__name__}: {error}".split())
    return (
        f"a fault of the program itself ({what}); please report it, "
        "with what `limbsight --traceback ...` prints"
    )


def _pressure_unit(ctx: click.Context, param: click.Parameter, value: str) -> str:
    from limbsight.units import check_pressure_unit

    try:
        check_pressure_unit(value)
    except InputError as error:
        raise click.BadParameter(str(error), ctx, param) from error
    return value


instrument_option = click.option(
    "-i",
    "--instrument",
    "instrument_path",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Instrument file (TOML), or a folder of them: each photo is given the one whose "
    "printed label it shows. Without it heights alone are read.",
)

unit_option = click.option(
    "-u",
    "--unit",
    default=DEFAULT_UNIT,
    show_default=True,
    callback=_pressure_unit,
    metavar="UNIT",
    help="Unit of pressure in the output, such as Pa, mbar, psi, mmHg.",
)

json_option = click.option(
    "--json", "as_json", is_flag=True, help="Print JSON instead of a table."
)
