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

FloatArray = NDArray[np.float64]

SIGNIFICANCE = 30.0
"""Twice the log likelihood ratio of a comb against noise: chance reaches 14 in one of a
thousand tubes, and the noise of pictures is not quite white."""
LEAST_CONTRAST = 1.5
"""Grey levels of the comb's fundamental below which it does not disturb (MIN_STEP of
``limbsight.vision.levels`` is 10 over three colours). Through tubes it was 2.7 to 11 where
lines run behind them, 0.1 or less where not (9 sample photos and renders)."""
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
    pitch_rows = (last_row - first_row) / max(count - 1, 1)
    first, last = max(round(first_row), 0), min(round(last_row), len(bgr) - 1)
    if pitch_rows < 2.0 or last - first < 8 * pitch_rows:
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


def _lined(field: NDArray[np.uint8], pitch: float, width: float) -> bool:
    """Whether a comb of this pitch shows in the tube or on both sides of it."""
    middle = 0.5 * (field.shape[1] - 1)

    def shows(left: float, right: float) -> bool:
        columns = slice(round(middle + left * width), round(middle + right * width) + 1)
        return _comb_shows(field[:, columns], pitch)

    tube = shows(-TUBE_SHARE, TUBE_SHARE)
    return tube or (shows(-BESIDE[1], -BESIDE[0]) and shows(*BESIDE))


def _comb_shows(tube: NDArray[np.uint8], pitch: float) -> bool:
    profile = tube.mean(axis=(1, 2), dtype=np.float64)
    rest = profile - _division_means(profile.astype(np.float32)[:, None], pitch)[:, 0]
    # Levels and clips are a few strong departures; cut, they leave the comb as it is.
    cap = 3.0 * 1.4826 * float(np.median(np.abs(rest - np.median(rest)))) + 1e-6
    rest = np.clip(rest, -cap, cap)
    phase = 2 * np.pi * np.arange(len(rest)) / pitch
    wave = 2.0 * np.mean(rest * np.exp(1j * phase))
    noise = float(np.var(rest)) - 0.5 * abs(wave) ** 2
    power = 0.5 * len(rest) * abs(wave) ** 2 / max(noise, 1e-6)
    return bool(power > SIGNIFICANCE and abs(wave) > LEAST_CONTRAST)


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
