"""Boards graduated behind the tubes: the lines taken out, where they are seen through a tube.

On the straightened picture the graduations stand at known rows, whatever the glass does to
their lengths, so they can be taken out without looking for them: by means over one whole
division where divisions are small beside the bore, else by going straight across each line.
Beyond the graduated field the board is of another brightness; a step there says nothing about
the filling, and the rows are given the colours of the field's end.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtri

from limbsight.vision.quantiles import median_of_row

FloatArray = NDArray[np.float64]

LEAST_PITCH = 2.0
"""Rows a division, below which a strip does not show it (sampling theorem)."""
LEAST_DIVISIONS = 8
BLOCK_DIVISIONS = 16
"""What lies behind the tube, seen through a liquid, repeats at up to 2 % less or more than the
graduations do in the plane of the axis: the phase drifts by a third of a period in a block."""
CHANCE, UNEVEN_NOISE = 1e-3, 2.2
"""Noise passes for a comb in one of so many tubes; that of pictures is not quite white, so
that much more is asked."""
LEAST_CONTRAST = 1.5
"""Grey levels of the comb's fundamental below which it does not disturb (MIN_STEP of
``limbsight.vision.level_steps`` is 10 over three colours). Through tubes it was 2.7 to 11
where lines run behind them, 0.1 or less where not (9 sample photos and renders)."""
TUBE_SHARE = 0.4
"""Half of the width looked at, in outside widths: the tube without its walls."""
BESIDE = (0.55, 0.75)
"""The board beside the tube, in outside widths from the axis."""
SMALL_BORES = 0.5
"""Divisions up to half a bore are averaged over: windows and gaps are as high."""
LINE_SHARE = 0.3
"""Half of the rows bridged about each line, in divisions: lines take up a quarter of a
division (common practice, no source), and as much again is blur."""


def without_lines(
    bgr: NDArray[np.uint8],
    first_row: float,
    last_row: float,
    count: int,
    width: float,
    bore: float,
) -> NDArray[np.uint8] | None:
    """Take graduations out of the strip of a tube.

    Parameters
    ----------
    bgr : ndarray, shape (R, C, 3), uint8
        The tube, its axis in the middle column.
    first_row, last_row
        Rows of the uppermost and the lowest graduation, as seen behind the tube.
    count
        How many graduations there are.
    width, bore
        Outside and inside width of the tube in columns.

    Returns
    -------
    ndarray, shape (R, C, 3), uint8, or None
        None where no lines are seen through the tube.
    """
    pitch_rows = _pitch(first_row, last_row, count)
    first, last = max(round(first_row), 0), min(round(last_row), len(bgr) - 1)
    if pitch_rows < LEAST_PITCH or last - first < LEAST_DIVISIONS * pitch_rows:
        return None
    if not _lined(bgr[first : last + 1], pitch_rows, width):
        return None
    field = bgr[first : last + 1].astype(np.float32)
    if pitch_rows <= SMALL_BORES * bore:
        clean = _division_means(field, pitch_rows)
    else:
        clean = _bridged(field, first_row - first, pitch_rows)
    out = np.empty_like(bgr)
    out[first : last + 1] = np.clip(clean + 0.5, 0, 255).astype(np.uint8)
    out[:first], out[last + 1 :] = out[first], out[last]
    return out


def are_too_fine(first_row: float, last_row: float, count: int) -> bool:
    """Whether a strip is too coarse to show graduations that may still be in the photo."""
    return _pitch(first_row, last_row, count) < LEAST_PITCH


def _pitch(first_row: float, last_row: float, count: int) -> float:
    return (last_row - first_row) / max(count - 1, 1)


def _lined(field: NDArray[np.uint8], pitch: float, width: float) -> bool:
    """Whether a comb of this pitch shows in both halves of the tube or on both sides of it.

    Lines of a scale beside the tube show in one half only, drawn in by its glass.
    """
    middle = 0.5 * (field.shape[1] - 1)

    def shows(left: float, right: float) -> bool:
        columns = slice(round(middle + left * width), round(middle + right * width) + 1)
        return _comb_shows(field[:, columns], pitch)

    tube = shows(-TUBE_SHARE, 0.0) and shows(0.0, TUBE_SHARE)
    return tube or (shows(-BESIDE[1], -BESIDE[0]) and shows(*BESIDE))


def _comb_shows(tube: NDArray[np.uint8], pitch: float) -> bool:
    profile = tube.mean(axis=(1, 2), dtype=np.float64)
    rest = profile - _division_means(profile.astype(np.float32)[:, None], pitch)[:, 0]
    # Levels and clips are a few strong departures; cut, they leave the comb as it is.
    away = np.abs(rest - median_of_row(rest))
    cap = 3.0 * 1.4826 * median_of_row(away) + 1e-6
    turned = np.clip(rest, -cap, cap) * np.exp(2j * np.pi * np.arange(len(rest)) / pitch)
    count = max(1, round(len(rest) / (BLOCK_DIVISIONS * pitch)))
    first = np.arange(count) * len(rest) // count
    sums = np.add.reduceat(turned, first)
    squared = np.square(np.abs(2.0 * sums / np.diff(first, append=len(rest))))
    noise = max(float(np.mean(np.abs(turned) ** 2)) - 0.5 * float(squared.mean()), 1e-6)
    # Twice the log likelihood ratio of combs against noise, of free size and phase each.
    power = 0.5 * len(rest) * float(squared.mean()) / noise
    chance = float(chdtri(2 * count, CHANCE))
    contrast = squared.mean() - 4.0 * noise * count / len(rest)
    return bool(power > UNEVEN_NOISE * chance and contrast > LEAST_CONTRAST**2)


def _division_means(field: NDArray[np.float32], pitch: float) -> NDArray[np.float32]:
    """Mean over one division about each row, of fractional height; ends repeat."""
    reach = int(np.ceil(0.5 * pitch - 0.5))
    covered = np.clip(0.5 * (pitch + 1.0) - np.abs(np.arange(-reach, reach + 1)), 0.0, 1.0)
    means = cv2.filter2D(
        field, cv2.CV_32F, (covered / pitch)[:, None], borderType=cv2.BORDER_REPLICATE
    )
    return np.asarray(means, np.float32)


def _bridged(field: NDArray[np.float32], first: float, pitch: float) -> NDArray[np.float32]:
    """Go straight across each line, from the middle of one gap's rim to the next."""
    rows = np.arange(len(field))
    reach = LINE_SHARE * pitch
    line = first + pitch * np.round((rows - first) / pitch)
    inside = np.abs(rows - line) < reach
    low = np.clip(np.round(line - reach), 0, len(field) - 1).astype(np.intp)
    high = np.clip(np.round(line + reach), 0, len(field) - 1).astype(np.intp)
    part = ((rows - low) / np.maximum(high - low, 1))[:, None, None].astype(np.float32)
    bridge = field[low] * (1 - part) + field[high] * part
    return np.where(inside[:, None, None], bridge, field)
