"""Instrument files: what is known about one manometer, read from TOML and checked.

The tables are read by modules of their own: scale, liquids, and the other parts.
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import cast, get_args

from limbsight.calib.instrument import ArrangementName, Instrument
from limbsight.calib.instrument_liquids import liquids_of
from limbsight.calib.instrument_parts import (
    cistern_of,
    label_of,
    limits_of,
    reference_of,
    site_of,
    tapped_limb_of,
    tapping_of,
    tube_of,
)
from limbsight.calib.instrument_scale import height_reader, scale_of
from limbsight.calib.instrument_table import Table
from limbsight.errors import InstrumentError


def load_instrument(path: str | Path) -> Instrument:
    """Read and check an instrument file.

    Parameters
    ----------
    path
        A TOML file as described in the project's documentation.

    Returns
    -------
    Instrument
        The checked description, in SI units.

    Raises
    ------
    InstrumentError
        If the file can't be read, has unknown keys, wrong units or impossible values; the
        message names the file, the key and what would be right.
    """
    path = Path(path)
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        what = getattr(error, "strerror", None) or "not a UTF-8 text file"
        raise InstrumentError(f"{path}: can't be read ({what}); give a TOML file") from error
    return parse_instrument(text, source=str(path))


def load_instruments(folder: str | Path) -> tuple[Instrument, ...]:
    """Read and check the instrument files of a folder, which their labels tell apart.

    Raises
    ------
    InstrumentError
        As for :func:`load_instrument`; also if there is none, if one has no label, or two
        have the same label or name.
    """
    paths = sorted(path for path in Path(folder).iterdir() if path.suffix.lower() == ".toml")
    if not paths:
        raise InstrumentError(f"{folder}: no instrument files (*.toml) in this folder")
    instruments = tuple(load_instrument(path) for path in paths)
    before: dict[str, str] = {}
    for instrument in instruments:
        if instrument.label is None:
            raise InstrumentError(
                f"{instrument.path}: label: is missing; of several files each photo is given "
                "the one whose label it shows: write number = 17 under [label], or give the "
                "file alone"
            )
        for key, value in (
            ("label.number", str(instrument.label.number)),
            ("name", instrument.name),
        ):
            other = before.setdefault(f"{key} {value}", instrument.path)
            if other != instrument.path:
                raise InstrumentError(
                    f"{instrument.path}: {key}: {value} is also that of {other}; write another"
                )
    return instruments


def parse_instrument(text: str, *, source: str = "instrument") -> Instrument:
    """Check the text of an instrument file; ``source`` names it in messages.

    Raises
    ------
    InstrumentError
        As for :func:`load_instrument`.
    """
    try:
        top = Table(tomllib.loads(text), source=source)
    except tomllib.TOMLDecodeError as error:
        raise InstrumentError(f"{source}: not valid TOML: {error}") from error
    arrangement = cast(
        ArrangementName, top.choice("arrangement", get_args(ArrangementName), required=True)
    )
    scale = scale_of(top.table("scale", required=True))
    length = height_reader(scale)
    instrument = Instrument(
        name=top.text("name", required=True),
        arrangement=arrangement,
        tapped_limb=tapped_limb_of(top, arrangement),
        scale=scale,
        tube=tube_of(top.table("tube"), arrangement),
        liquids=liquids_of(top.table("liquids", required=True)),
        tapping=tapping_of(top.table("tapping"), length),
        reference=reference_of(top.table("reference"), length),
        cistern=cistern_of(top.table("cistern"), length),
        site=site_of(top.table("site")),
        limits=limits_of(top.table("limits"), arrangement),
        path=source,
        label=label_of(top.table("label")),
    )
    top.finish()
    return instrument
