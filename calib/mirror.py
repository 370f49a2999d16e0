"""Whether the filling below a level is an opaque mirror, from how the bore looks.

Two things set mercury apart from whatever light passes through:

- It can be brighter than what fills the tube above it, in some colour: it shows the room. A
  liquid that lets the board through only takes light away.
- It makes the bore streaky from side to side, lamps and dark corners drawn out along the tube,
  where the gas above shows the board evenly. A liquid draws out the board, not the room.

Neither is taken for certain where a liquid is strongly coloured, for then its own shading may
be streaky too; nothing is said then.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

WINDOW_BORES = (0.7, 1.9)
"""Rows that are looked at, from the level: beyond its meniscus, before much else comes."""
SEEN_SHARE = 0.75
"""Part of the bore's width that is used: the rims show refraction by the wall."""
BRIGHTER, DIMMEST = 1.3, 0.25
"""Brightest colour below over above: more than any liquid leaves; less than a mirror shows of
a room."""
STREAKIER = 2.2
STREAKY, EVEN, HARDLY_EVEN = 0.8, 0.5, 1.0
"""Swing from side to side over its mean: below over above; of a mirror; of a clear liquid; of
a coloured one."""
NEUTRAL, COLOURED, DEEPLY_COLOURED = 0.35, 0.5, 0.8
"""Spread of the three colours' ratios: of a mirror beside a board hardly coloured; of a dyed
liquid; more than the colour of any board makes a mirror's.  Of 31 levels of
mercury and 115 of other liquids in path-traced photos from two sources all limits together
tell 27 and 86, leave 4 and 29 open, and take none for the other."""


def is_mirror(strip: NDArray[np.float32], row: float, bore_rows: float) -> bool | None:
    """Tell an opaque mirror below a level from a transparent liquid.

    Parameters
    ----------
    strip : ndarray, shape (R, C, 3)
        Linear light, the tube's axis in the middle column, the top first.
    row
        The level, roughly.
    bore_rows
        Width of the bore; rows and columns have one size.

    Returns
    -------
    bool or None
        None where it can't be told.
    """
    near, far = (share * bore_rows for share in WINDOW_BORES)
    below = _across(strip, row + near, row + far, bore_rows)
    above = _across(strip, row - far, row - near, bore_rows)
    if below is None or above is None:
        return None
    ratio = np.median(below, axis=0) / np.maximum(np.median(above, axis=0), 1e-3)
    brightest, spread = float(ratio.max()), 1.0 - float(ratio.min() / ratio.max())
    swing = _swing(below)
    streaky = swing > STREAKY and swing > STREAKIER * _swing(above)
    if brightest > BRIGHTER:
        return True if swing > EVEN and spread < DEEPLY_COLOURED else None
    if streaky and spread < NEUTRAL and brightest > DIMMEST:
        return True
    if swing < EVEN or (brightest < 1.0 and spread > COLOURED and swing < HARDLY_EVEN):
        return False
    return None


def _across(
    strip: NDArray[np.float32], first: float, last: float, bore_rows: float
) -> FloatArray | None:
    """Median along the tube of each column of the bore, (columns, 3)."""
    rows = strip[max(round(first), 0) : max(round(last), 0) + 1]
    if len(rows) < 0.5 * (last - first):
        return None
    axis, half = 0.5 * (strip.shape[1] - 1), 0.5 * SEEN_SHARE * bore_rows
    columns = slice(int(np.ceil(axis - half)), int(np.floor(axis + half)) + 1)
    return np.asarray(np.median(rows[:, columns], axis=0), dtype=np.float64)


def _swing(across: FloatArray) -> float:
    """Total rise and fall from side to side, over the mean."""
    light = across.mean(axis=1)
    return float(np.abs(np.diff(light)).sum() / max(light.mean(), 1e-6))
