"""Columns of a tube's strip in which one level is fitted."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Columns = NDArray[np.intp]
AXIS_COLUMNS_SHARE = 0.2
"""Half of the width averaged about the axis, in bore radii: the meniscus rises by 2 % of the
radius over it, a reflection covers less."""
ASIDE = 0.4
"""Where to look beside a reflection, in bore radii: twice half the width of a band."""
BESIDE_SHARE = 0.03
"""Of the bore, by which fits beside the axis differ from those on it (root mean square of 13
beside reflections of lamps, drawn photos)."""
SEEN_SHARE = 0.7
"""Part of the bore that is compared with a band of columns, rims left out."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Band:
    """Columns that are averaged for a fit.

    Attributes
    ----------
    columns : ndarray, shape (N,)
    half_width
        Half the width of a band about its middle that is as far from there (root mean square).
    aside
        Distance of the middle from the axis, of columns on one side.
    """

    columns: Columns
    half_width: float
    aside: float = 0.0

    def off(self, axis: float) -> float:
        """Return how far the middle of the columns lies from the axis."""
        return abs(float(np.mean(self.columns - axis)))


def band_at(axis: float, bore_rows: float, aside: float = 0.0) -> Band:
    """Columns about the axis, or so many rows beside it."""
    half = max(AXIS_COLUMNS_SHARE * 0.5 * bore_rows, 0.5)
    return Band(columns=columns_about(axis + aside, half), half_width=half, aside=abs(aside))


def clear_band(
    burnt: NDArray[np.bool_], axis: float, bore_rows: float, share: float
) -> Band | None:
    """Find columns nearest to the axis that are not burnt out, half a band's at least, within
    a share of the bore."""
    aside = np.abs(np.arange(len(burnt)) - axis)
    clear = np.flatnonzero(~burnt & (aside <= 0.5 * share * bore_rows))
    count = len(band_at(axis, bore_rows).columns)
    if 2 * len(clear) < count:
        return None
    nearest = np.sort(clear[np.argsort(aside[clear], kind="stable")][:count])
    half_width = math.sqrt(3.0) * np.sqrt(np.mean(np.square(nearest - axis)))
    return Band(columns=nearest, half_width=float(half_width))


def columns_about(middle: float, half: float) -> Columns:
    """Columns that reach within a half width of a place."""
    first = int(np.ceil(middle - half - 0.5))
    return np.arange(first, int(np.floor(middle + half + 0.5)) + 1)
