"""The tube's axis from its own levels: the band of columns in which the filling changes.

Reflections in glass and mercury are not symmetric, and pull the axis found from edges by some
pixels. At a level the whole bore changes, and only the bore, so the band of change is centred
on the axis.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from limbsight.vision.levels import Interface, TubeStrip, window_rows

FloatArray = NDArray[np.float64]

MAX_SHIFT_WIDTHS = 0.2
"""Axes from edges are within a fifth of the tube's width, or the tube was not found."""
FLANK_WIDTHS = 0.15
"""What lies beside the band: as wide as a wall of usual tubing."""
MIN_CHANGE = 100.0
"""Grey levels summed over three colours: a coloured filling. Mercury and clear liquids look
like the board in parts of the bore, and the band is then not whole."""
MIN_GAIN = 1.02
"""The new axis must set the band off better than the old one, by more than noise does."""


def axis_shift(strip: TubeStrip, interfaces: tuple[Interface, ...]) -> float:
    """Return how many columns the axis lies to the right of the strip's middle.

    Parameters
    ----------
    strip
        The tube.
    interfaces
        Its levels, as found about the present axis.

    Returns
    -------
    float
        0 where the levels do not tell.
    """
    if not interfaces:
        return 0.0
    shifts, best_by_shift = _set_off_by_shift(strip, interfaces)
    top = float(best_by_shift.max())
    here = float(np.interp(0.0, shifts, best_by_shift))
    if top < MIN_CHANGE or top < MIN_GAIN * here:
        return 0.0
    # The band's ends are soft: the middle of all that is nearly as good.
    good = best_by_shift >= 0.98 * top
    return float(np.mean(shifts[good]))


def is_axis_seen(strip: TubeStrip, interfaces: tuple[Interface, ...]) -> bool:
    """Whether the levels set the bore off clearly, with the strip's middle as its axis."""
    if not interfaces:
        return False
    here = np.interp(0.0, *_set_off_by_shift(strip, interfaces))
    return bool(here >= MIN_CHANGE)


def _set_off_by_shift(
    strip: TubeStrip, interfaces: tuple[Interface, ...]
) -> tuple[FloatArray, FloatArray]:
    """How well the bore is set off if its axis lies so many columns to the right."""
    change = np.sum([_change(strip, interface) for interface in interfaces], axis=0)
    sums = np.concatenate([[0.0], np.cumsum(change)])
    middle = 0.5 * (len(change) - 1)
    reach = MAX_SHIFT_WIDTHS * strip.width_columns
    shifts = np.arange(-reach, reach + 0.25, 0.25)
    widths = np.linspace(strip.bore_columns, strip.width_columns, 5)
    scores = np.array(
        [[_set_off(sums, middle + s, w, strip.width_columns) for s in shifts] for w in widths]
    )
    return shifts, scores.max(axis=0)


def _change(strip: TubeStrip, interface: Interface) -> FloatArray:
    """Step of each column's colour across an interface, shape (C,)."""
    height, gap = window_rows(strip)
    row = round(interface.row)
    above = strip.bgr[max(row - gap - height, 0) : max(row - gap, 1)]
    below = strip.bgr[row + gap : row + gap + height]
    if len(above) == 0 or len(below) == 0:
        return np.zeros(strip.bgr.shape[1])
    step = np.median(above, axis=0) - np.median(below, axis=0)
    return np.asarray(np.abs(step).sum(axis=1), np.float64)


def _set_off(sums: FloatArray, axis: float, width: float, tube: float) -> float:
    """Mean change in a band about the axis less that in its flanks."""
    columns = np.arange(len(sums)) - 0.5

    def mean(left: float, right: float) -> float:
        low, high = np.interp([left, right], columns, sums)
        return float(high - low) / max(right - left, 1e-9)

    half, flank = width / 2, FLANK_WIDTHS * tube
    inside = mean(axis - half, axis + half)
    beside = 0.5 * (
        mean(axis - half - flank, axis - half) + mean(axis + half, axis + half + flank)
    )
    return inside - beside
