"""What the limbs of an instrument are called."""

from __future__ import annotations

from typing import TYPE_CHECKING

from limbsight.calib.instrument import Instrument
from limbsight.errors import InputError

if TYPE_CHECKING:
    pass


def limb_names(instrument: Instrument, count: int) -> tuple[str, ...]:
    """Names of the limbs, left to right.

    Raises
    ------
    InputError
        If the arrangement does not have that many limbs.
    """
    if instrument.arrangement == "bank":
        return tuple(f"limb {i}" for i in range(1, count + 1))
    names = names_of(instrument)
    if count != len(names):
        raise InputError(
            f"{instrument.name}: {count} limb(s) given, a {instrument.arrangement} has "
            f"{len(names)}"
        )
    return names


def names_of(instrument: Instrument) -> tuple[str, ...]:
    two = instrument.arrangement in ("u-tube", "inverted-u-tube", "micromanometer")
    return ("left", "right") if two else ("tube",)
