"""Steps that are no levels of their own: ends of clips no wider than the tube, flanks of a
dark meniscus.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from limbsight.vision.fillings import filling_of
from limbsight.vision.tube_strip import STEP_QUANTILE, TubeStrip, window_rows

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

BAND_WIDTHS = 1.5
BAND_LIKENESS = 0.2
"""Fillings above and below a clip differ by its shadow only, a tenth of the clip's own step;
gas and mercury above and below a coloured plug by a third or more."""
MENISCUS_BORES = 0.5
"""The dark rim of a meniscus is at most half a bore high; clips are higher."""


def bands_between(
    colours: FloatArray,
    usable: BoolArray,
    peaks: list[int],
    step: FloatArray,
    strip: TubeStrip,
) -> list[tuple[int, int]]:
    """Find short stretches with one filling above and below: clips no wider than the tube."""
    height, gap = window_rows(strip)
    cuts = [0, *peaks, len(colours)]
    found = []
    for k in range(1, len(cuts) - 2):
        first, last = cuts[k], cuts[k + 1]
        if last - first > BAND_WIDTHS * strip.width_columns:
            continue
        reach = 4 * (gap + height)
        above = filling_of(colours, usable, max(cuts[k - 1] + gap, first - reach), first - gap)
        below = filling_of(colours, usable, last + gap, min(cuts[k + 2] - gap, last + reach))
        if above is None or below is None:
            continue
        difference = float(np.quantile(np.abs(above - below).sum(axis=1), STEP_QUANTILE))
        if difference < BAND_LIKENESS * min(float(step[first]), float(step[last])):
            heart = dark_rows(colours, first, last)
            if heart[1] - heart[0] > MENISCUS_BORES * strip.bore_columns:
                found.append((first, last))
    return found


def dark_rows(colours: FloatArray, first: int, last: int) -> tuple[int, int]:
    """Rows between two peaks that depart most from what is at both ends."""
    bore = np.median(colours[first : last + 1], axis=1)
    ends = np.linspace(bore[0], bore[-1], len(bore))
    away = np.abs(bore - ends).sum(axis=1)
    rows = np.flatnonzero(away >= 0.5 * away.max())
    return first + int(rows[0]), first + int(rows[-1])


def heart_of(row: int, peaks: list[int], colours: FloatArray, strip: TubeStrip) -> int:
    """Move a peak to the thin dark line it is the flank of, if its neighbour is the other.

    The dark rim of a meniscus between two fillings of one brightness steps down and up.
    """
    height, gap = window_rows(strip)
    near = [p for p in peaks if 0 < abs(p - row) <= 2 * (height + gap)]
    for other in near:
        first, last = min(row, other), max(row, other)
        low, high = dark_rows(colours, first, last)
        thin = high - low <= MENISCUS_BORES * strip.bore_columns
        inner = low - first > gap / 2 and last - high > gap / 2
        if thin and inner:
            return (low + high) // 2
    return row
