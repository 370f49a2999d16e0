"""Pressures of many readings of one instrument, from arrays of heights."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from limbsight.calib.instrument import Instrument, SiteSpec
from limbsight.calib.instrument_file import load_instrument
from limbsight.errors import InputError
from limbsight.pressure_model import reduction_of
from limbsight.typed_heights import by_eye, reading_uncertainty
from limbsight.units import PressureKind

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PressureSeries:
    """Many pressures of one instrument [Pa], arrays of shape (N,)."""

    kind: PressureKind
    value_pa: NDArray[np.float64]
    standard_uncertainty_pa: NDArray[np.float64]


SERIES_BLOCK = 8_192
"""Readings at a time: complex arrays of this length (128 kB) stay in the processor's cache."""


def reduce_series(
    instrument: Instrument | str | Path,
    limbs: Sequence[Sequence[NDArray[np.float64]]],
    *,
    standard_uncertainty: str | float | None = None,
    site: SiteSpec | None = None,
    tapped_limb: str | None = None,
) -> PressureSeries:
    """Pressures of many readings of one instrument in one call.

    Parameters
    ----------
    instrument, standard_uncertainty, site, tapped_limb
        As for :func:`limbsight.pressure.reduce_heights`.
    limbs : sequence of sequences of ndarray, shape (N,)
        For each limb, left to right, its levels, bottom to top: signed scale values.

    Returns
    -------
    PressureSeries
        The same values, to the last bit, as one reading at a time.

    Raises
    ------
    InputError, InstrumentError
        As for :func:`limbsight.pressure.reduce_heights`; also if the arrays differ in shape.
    """
    import numpy as np

    from limbsight.reduce.uncertainty import array_uncertainty

    found = instrument if isinstance(instrument, Instrument) else load_instrument(instrument)
    arrays = [[np.asarray(level, dtype=np.float64) for level in limb] for limb in limbs]
    shapes = {level.shape for limb in arrays for level in limb}
    if len(shapes) != 1 or len(next(iter(shapes))) != 1:
        raise InputError("limbs: give one-dimensional arrays of one length")
    count = next(iter(shapes))[0]
    value, standard = np.empty(count), np.empty(count)
    u = reading_uncertainty(found, standard_uncertainty)
    for start in range(0, count, SERIES_BLOCK):
        block = slice(start, start + SERIES_BLOCK)
        levels = [[by_eye(found, level[block], u) for level in limb] for limb in arrays]
        reduction = reduction_of(found, levels, site=site, tapped_limb=tapped_limb)
        q = {i.key: i.value for i in reduction.inputs}
        value[block] = reduction.difference(q)
        standard[block] = array_uncertainty(reduction.difference, reduction.inputs)
    return PressureSeries(
        kind=reduction.kind, value_pa=value, standard_uncertainty_pa=standard
    )
