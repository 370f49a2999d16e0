"""Where the colours of a tube step: candidates for its levels.

A level lasts on both sides, or draws a thin line across the bore.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d, uniform_filter1d

from limbsight.vision.quantiles import quantile_of_few
from limbsight.vision.row_sets import dilate
from limbsight.vision.tube_strip import STEP_QUANTILE, TubeStrip, colour_distance, window_rows

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

LINE_BORES = 0.1
"""Height of the rim of a meniscus seen level; higher ones step as well."""
NOISE_FACTOR = 6.0
"""A peak counts at this many times the median step of the tube, which is noise and shading."""
MIN_STEP = 10.0
"""Grey levels summed over three colours: the least that eye and fit can use; JPEG blocks and
shading leave 3 to 5."""
MAX_PEAKS = 9
PLATEAU_SHARE = 0.9
"""Rows whose step is this near to the peak's belong to its plateau."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Steps:
    """How the colours of a tube change at each row [grey levels, summed over three colours].

    Attributes
    ----------
    lasting : ndarray, shape (R,)
        Across a gap, between windows above and below.
    line : ndarray, shape (R,)
        From a thin line to what is next to it.
    either : ndarray, shape (R,)
        Both together, the clearest line within the gap.
    """

    lasting: FloatArray
    line: FloatArray
    either: FloatArray


def steps_of(colours: FloatArray, strip: TubeStrip) -> Steps:
    """Look at every row for a change that lasts, and for a line."""
    lasting, line = _lasting(colours, strip), _line(colours, strip)
    _, gap = window_rows(strip)
    return Steps(
        lasting=lasting, line=line, either=lasting + maximum_filter1d(line, 2 * gap + 1)
    )


def _lasting(colours: FloatArray, strip: TubeStrip) -> FloatArray:
    """Step of the colour across each row, in all but a third of the bore."""
    height, gap = window_rows(strip)
    rows = len(colours)
    step = np.zeros(rows)
    reach = gap + height
    if rows <= 2 * reach:
        return step
    sums = np.zeros((rows + 1, *colours.shape[1:]))
    np.cumsum(colours, axis=0, out=sums[1:])
    means = (sums[height:] - sums[:-height]) / height
    between = height + 2 * gap
    away = colour_distance(means[: -between - 1], means[between:-1])
    step[reach : rows - reach] = quantile_of_few(away, STEP_QUANTILE, axis=1)
    return step


def _line(colours: FloatArray, strip: TubeStrip) -> FloatArray:
    """How each row stands out from its neighbours, in all but a third of the bore.

    The dark or bright rim of a meniscus, all that a clear liquid may show.
    """
    height = max(1, round(LINE_BORES * strip.bore_columns))
    thin = uniform_filter1d(colours, height, axis=0)
    wide = uniform_filter1d(colours, 5 * height, axis=0)
    return quantile_of_few(colour_distance(thin, wide), STEP_QUANTILE, axis=1)


def peaks_of(
    steps: Steps, strip: TubeStrip, hidden: BoolArray, visible: tuple[int, int]
) -> list[int]:
    """Rows of local maxima of the step that stand out of the noise, strongest first."""
    height, gap = window_rows(strip)
    step = steps.either
    rest = step.copy()
    rest[: visible[0]] = 0.0
    rest[visible[1] + 1 :] = 0.0
    usual = steps.lasting + steps.line
    noise = float(np.median(usual[visible[0] : visible[1] + 1]))
    threshold = max(NOISE_FACTOR * noise, MIN_STEP)
    # The shadow of what hides reaches a little farther.
    rest[dilate(hidden, gap // 2)] = 0.0
    reach = gap + height
    found: list[int] = []
    while len(found) < MAX_PEAKS:
        top = int(np.argmax(rest))
        if rest[top] < threshold:
            break
        low, high = max(0, top - reach), top + reach + 1
        if step[top] >= step[low:high].max() * (1 - 1e-9):
            found.append(top)
        rest[low:high] = 0.0
    return found


def row_of(peak: int, steps: Steps, strip: TubeStrip) -> float:
    """Return the row of a level: of its step, or of its line where that is the clearer."""
    lasting, line = steps.lasting, steps.line
    _, gap = window_rows(strip)
    low = max(peak - gap, 0)
    near = slice(low, peak + gap + 1)
    if lasting[near].max() < line[near].max():
        return float(low + int(np.argmax(line[near])))
    return _middle_of_peak(lasting, low + int(np.argmax(lasting[near])))


def _middle_of_peak(step: FloatArray, row: int) -> float:
    """Return the middle of the plateau that a sharp edge makes between the windows."""
    high = step >= PLATEAU_SHARE * step[row]
    below = np.flatnonzero(~high[row:])
    above = np.flatnonzero(~high[row::-1])
    last = row + int(below[0]) - 1 if len(below) else len(step) - 1
    first = row - int(above[0]) + 1 if len(above) else 0
    return 0.5 * (first + last)
