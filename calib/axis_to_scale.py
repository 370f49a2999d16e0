"""The one dimension that may be given with a photo: how far the tubes stand off the scale."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from limbsight.calib.instrument import Instrument
from limbsight.errors import InputError
from limbsight.units import parse_quantity

MOST_AXIS_TO_SCALE_M = 50e-3
"""Tubes are clipped to their boards, a few centimetres off at most (common practice, no
source): what is given beyond is another length, or in another unit."""
MOST_SUNK_M = 12e-3
"""Tubes laid in a groove have their axes behind the face, by their radius at most: thicker
ones than 24 mm are not used (common practice, no source)."""


def parse_axis_to_scale(text: str) -> float:
    """Read how far a tube's axis stands before the graduated face [m], given with a photo.

    Raises
    ------
    InputError
        If the text is no length, or none that clips could give.
    """
    depth_m = parse_quantity(text, "length")
    if not -MOST_SUNK_M <= depth_m <= MOST_AXIS_TO_SCALE_M:
        raise InputError(
            f"{text!r}: the axis of a tube stands {-1e3 * MOST_SUNK_M:g} to "
            f"{1e3 * MOST_AXIS_TO_SCALE_M:g} mm before the graduated face; write the distance "
            "from that face to the middle of the bore, like '6.5 mm', below 0 in a groove"
        )
    return depth_m


def with_axis_to_scale(
    instrument: Instrument | Sequence[Instrument], axis_to_scale_m: float
) -> Instrument | tuple[Instrument, ...]:
    """Fill in the one dimension that was given with the photo, in one instrument or several.

    Raises
    ------
    InputError
        If a file states it itself.
    """
    if isinstance(instrument, Sequence):
        return tuple(_filled_in(one, axis_to_scale_m) for one in instrument)
    return _filled_in(instrument, axis_to_scale_m)


def _filled_in(instrument: Instrument, axis_to_scale_m: float) -> Instrument:
    if instrument.tube.axis_to_scale_m is not None:
        raise InputError(
            f"{instrument.path or instrument.name}: tube.axis_to_scale is stated there and "
            "given with the photo; leave out one of them"
        )
    tube = replace(instrument.tube, axis_to_scale_m=axis_to_scale_m)
    return replace(instrument, tube=tube)
