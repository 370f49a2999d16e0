"""``limbsight read``: photos in, heights and pressure out."""

from __future__ import annotations

import glob
import hashlib
import json
import sys
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, TypeAlias

import click

from limbsight import __version__
from limbsight.cli.options import (
    EXIT_CODE_HELP,
    ExitCode,
    fault_text,
    instrument_option,
    json_option,
    unit_option,
)
from limbsight.errors import InputError, LimbsightError
from limbsight.records import Reading, Reason

if TYPE_CHECKING:
    from limbsight.calib.instrument import Instrument, LimitsSpec
    from limbsight.zero_photo import ZeroPhoto

    Instruments: TypeAlias = Instrument | tuple[Instrument, ...]
    """One that is given, or those of a folder."""
    Limits: TypeAlias = Mapping[str | None, LimitsSpec]
    """Of each instrument, by its name."""

PROGRESS_FROM = 5
"""Photos that take longer than a person waits without a sign, at about half a second each."""

OVERLAY_SUFFIX = ".overlay.jpg"
OVERLAY_JPEG_QUALITY = 88

BAD_FILE = "bad_file"
FAULT = "program_fault"

EPILOG = f"""\b
Examples:
  limbsight read fan.jpg --instrument fan.toml
  limbsight read round/ --instrument fan.toml --unit mbar --json > round.json
  limbsight read "round/*.jpg" -i fan.toml --overlay checked/
  limbsight read round/ --instrument instruments/
  limbsight read fan.jpg -i fan.toml --zero fan-open.jpg

{EXIT_CODE_HELP}.
"""


def _axis_to_scale(
    ctx: click.Context, param: click.Parameter, value: str | None
) -> float | None:
    """In metres."""
    if value is None:
        return None
    from limbsight.calib.axis_to_scale import parse_axis_to_scale

    try:
        return parse_axis_to_scale(value)
    except InputError as error:
        raise click.BadParameter(str(error), ctx, param) from error


@click.command(epilog=EPILOG)
@click.argument("photos", nargs=-1, required=True, metavar="PHOTO...")
@instrument_option
@click.option(
    "--zero",
    "zero_path",
    type=click.Path(path_type=Path),
    metavar="PHOTO",
    help="Photo of the same instrument with both ends open to the air; subtracted.",
)
@click.option(
    "--axis-to-scale",
    "axis_to_scale_m",
    metavar="LENGTH",
    callback=_axis_to_scale,
    help="Axis of the tubes in front of the graduated face, to 0.2 mm, such as '6.5 mm', "
    "where no instrument file states it: without it that is most of U.",
)
@unit_option
@json_option
@click.option(
    "--overlay",
    "overlay_folder",
    type=click.Path(file_okay=False, path_type=Path),
    metavar="DIR",
    help="Write into DIR, for each photo, a picture that shows what was found.",
)
@click.pass_context
def read(
    ctx: click.Context,
    photos: tuple[str, ...],
    instrument_path: Path | None,
    zero_path: Path | None,
    axis_to_scale_m: float | None,
    unit: str,
    as_json: bool,
    overlay_folder: Path | None,
) -> None:
    """Read photos of manometers: heights and pressure, each ± U, or why not.

    PHOTO is a file, a folder (the photos in it) or a pattern such as "round/*.jpg". A
    file that can't be decoded is reported and the others are read. With --json one photo
    gives one object, anything else (several, a folder, a pattern) an array.
    """
    if zero_path is not None and (instrument_path is None or instrument_path.is_dir()):
        raise click.UsageError(
            "--zero is subtracted from a pressure, which needs the file of that instrument; "
            "give it alone with --instrument"
        )
    instrument = _load(instrument_path, axis_to_scale_m)
    traceback = bool(ctx.find_root().params.get("traceback"))
    limits = _limits_of(instrument)
    overlays = OverlayFolder(overlay_folder, unit, limits) if overlay_folder else None
    paths, unmatched = expand_photos(photos)
    for message in unmatched:
        click.echo(f"Error: {message}", err=True)
    zero = _read_zero(zero_path, instrument)
    readings: list[Reading] = []
    output = _Json(unit, limits) if as_json else _Table(unit, limits)
    try:
        for path in _with_progress(paths):
            reading = _read_one(
                path,
                instrument,
                zero,
                axis_to_scale_m=None if instrument else axis_to_scale_m,
                traceback=traceback,
            )
            readings.append(reading)
            output.add(reading)
            if overlays:
                overlays.write(path, reading)
    finally:  # a full disk or an impatient user costs none of the readings made so far
        output.finish(single=len(photos) == 1 and paths == [Path(photos[0])])
    ctx.exit(exit_code(readings, unmatched=bool(unmatched)))


def expand_photos(names: Sequence[str]) -> tuple[list[Path], list[str]]:
    """Turn files, folders and patterns into photos, each once, in the order named.

    Returns
    -------
    paths, messages
        A message for each folder without photos and each pattern without a match. A
        file that doesn't exist stays in the list: it is reported as a photo that can't
        be read.
    """
    from limbsight.vision.picture import KNOWN_SUFFIXES

    paths: dict[Path, None] = {}
    messages = []
    for name in names:
        path = Path(name)
        if path.is_dir():
            found = [
                file for file in sorted(path.iterdir()) if _is_photo(file, KNOWN_SUFFIXES)
            ]
            if not found:
                messages.append(f"{name}: no photos in this folder; name another")
        elif glob.has_magic(name) and not path.exists():
            matches = Path(path.anchor).glob(str(path.relative_to(path.anchor)))
            found = [file for file in sorted(matches) if file.is_file()]
            if not found:
                messages.append(f"{name}: no file matches this pattern; check it")
        else:
            found = [path]
        paths.update(dict.fromkeys(found))
    return list(paths), messages


def exit_code(readings: Sequence[Reading], *, unmatched: bool = False) -> ExitCode:
    """The worst that happened decides."""
    codes = {reason.code for reading in readings for reason in reading.reasons}
    if FAULT in codes:
        return ExitCode.FAULT
    if unmatched or BAD_FILE in codes:
        return ExitCode.BAD_COMMAND_OR_FILES
    if any(reading.status != "read" for reading in readings):
        return ExitCode.LOOK_NEEDED
    return ExitCode.ALL_READ


class OverlayFolder:
    """Where the pictures that show what was found go, one for each photo.

    Raises
    ------
    InputError
        If the folder can't be made, or a picture can't be written into it.
    """

    def __init__(self, folder: Path, unit: str, limits: Limits | None = None) -> None:
        self._folder = folder
        self._unit = unit
        self._limits = limits or {}
        self._uses: Counter[str] = Counter()
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise self._error(folder, error) from error

    def write(self, path: Path, reading: Reading) -> None:
        """Draw one; nothing where there is no picture to draw on."""
        import cv2

        from limbsight.overlay import draw_overlay
        from limbsight.vision.picture import load_picture

        if any(reason.code in (BAD_FILE, FAULT) for reason in reading.reasons):
            return
        picture = load_picture(path)
        limits = self._limits.get(reading.instrument)
        drawn = draw_overlay(picture, reading, unit=self._unit, limits=limits)
        quality = [cv2.IMWRITE_JPEG_QUALITY, OVERLAY_JPEG_QUALITY]
        _, encoded = cv2.imencode(".jpg", drawn, quality)
        target = self._folder / self._name(path)
        try:
            target.write_bytes(encoded.tobytes())
        except OSError as error:
            raise self._error(target, error) from error

    def _name(self, path: Path) -> str:
        self._uses[path.stem] += 1
        again = self._uses[path.stem]  # photos of one name from different folders
        return f"{path.stem}{f'-{again}' if again > 1 else ''}{OVERLAY_SUFFIX}"

    @staticmethod
    def _error(path: Path, error: OSError) -> InputError:
        return InputError(
            f"{path}: can't be written ({error.strerror}); choose another --overlay folder"
        )


class _Table:
    """Blocks for people: each at once, or at the end where a progress bar is in the way."""

    def __init__(self, unit: str, limits: Limits) -> None:
        from rich.console import Console

        self._unit = unit
        self._limits = limits
        self._console = Console(highlight=False)
        self._hold = self._console.is_terminal and sys.stderr.isatty()
        self._held: list[Reading] = []
        self._readings: list[Reading] = []

    def add(self, reading: Reading) -> None:
        self._readings.append(reading)
        if self._hold:
            self._held.append(reading)
        else:
            self._print(reading)

    def finish(self, *, single: bool) -> None:
        from limbsight.report import print_totals

        for reading in self._held:
            self._print(reading)
        if not single:
            print_totals(self._console, self._readings)

    def _print(self, reading: Reading) -> None:
        from limbsight.report import print_reading

        limits = self._limits.get(reading.instrument)
        print_reading(self._console, reading, unit=self._unit, limits=limits)


class _Json:
    """One object for a photo named alone, else an array."""

    def __init__(self, unit: str, limits: Limits) -> None:
        self._unit = unit
        self._limits = limits
        self._written: list[dict[str, object]] = []

    def add(self, reading: Reading) -> None:
        from limbsight.report import reading_to_dict

        limits = self._limits.get(reading.instrument)
        self._written.append(reading_to_dict(reading, unit=self._unit, limits=limits))
        for reason in reading.reasons:
            if reason.code in (BAD_FILE, FAULT):
                click.echo(f"Error: {reading.photo}: {reason.text}", err=True)

    def finish(self, *, single: bool) -> None:
        data = self._written[0] if single and self._written else self._written
        click.echo(json.dumps(data, allow_nan=False, indent=2))


def _load(path: Path | None, axis_to_scale_m: float | None) -> Instruments | None:
    """Load an instrument file, or all of a folder; faults are found before a photo is read."""
    if path is None:
        return None
    from limbsight.calib.axis_to_scale import with_axis_to_scale
    from limbsight.calib.instrument_file import load_instrument, load_instruments
    from limbsight.plain_numbers import check_names

    loaded = load_instruments(path) if path.is_dir() else load_instrument(path)
    for instrument in _several(loaded):
        check_names(instrument)
    return loaded if axis_to_scale_m is None else with_axis_to_scale(loaded, axis_to_scale_m)


def _limits_of(instrument: Instruments | None) -> Limits:
    """Alarm limits by the names of instruments."""
    return {one.name: one.limits for one in _several(instrument)}


def _several(instrument: Instruments | None) -> tuple[Instrument, ...]:
    if instrument is None:
        return ()
    return instrument if isinstance(instrument, tuple) else (instrument,)


def _is_photo(path: Path, suffixes: frozenset[str]) -> bool:
    return (
        path.suffix.lower() in suffixes
        and path.is_file()
        and not path.name.endswith(OVERLAY_SUFFIX)
    )


def _read_zero(path: Path | None, instrument: Instruments | None) -> ZeroPhoto | None:
    """Read the zero before any photo: without it every pressure would be another one."""
    if path is None:
        return None
    from limbsight.reading import read_zero

    return read_zero(path, instrument=instrument)


def _read_one(
    path: Path,
    instrument: Instruments | None,
    zero: ZeroPhoto | None,
    *,
    axis_to_scale_m: float | None,
    traceback: bool,
) -> Reading:
    """Read one photo; what is wrong with its file becomes a refused reading."""
    from limbsight.reading import read_as_told

    try:
        return read_as_told(
            path, instrument=instrument, zero=zero, axis_to_scale_m=axis_to_scale_m
        )
    except InputError as error:
        if error.code != BAD_FILE:  # something else than the photo is wrong
            raise
        text = str(error).removeprefix(f"{path}: ")
        return _refused(path, BAD_FILE, text, instrument)
    except LimbsightError:
        raise
    except Exception as error:
        # A fault met on one photo must not cost a long list the others.
        if traceback:
            raise
        return _refused(path, FAULT, fault_text(error), instrument)


def _refused(
    path: Path,
    code: str,
    text: str,
    instrument: Instruments | None,
) -> Reading:
    return Reading(
        photo=str(path),
        sha256=_sha256(path),
        taken_at=None,
        status="refused",
        reasons=(Reason(code=code, text=text),),
        limbs=(),
        graduations=(),
        pressure=None,
        instrument=None if isinstance(instrument, tuple | None) else instrument.name,
        program=f"limbsight {__version__}",
        size_px=(0, 0),
    )


def _sha256(path: Path) -> str:
    """Hash of a file that would not decode; empty where it can't even be read."""
    if not path.is_file():
        return ""
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return ""


def _with_progress(paths: Sequence[Path]) -> Iterator[Path]:
    if len(paths) < PROGRESS_FROM or not sys.stderr.isatty():
        yield from paths
        return
    from rich.console import Console
    from rich.progress import track

    yield from track(paths, "Reading", console=Console(stderr=True), transient=True)
