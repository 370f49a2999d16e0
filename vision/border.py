"""Whether a border runs all around what a picture shows, as about a screen or a paper print.

A photo of a photo shows the rim of the screen, or the white of the paper, on all four sides:
two straight edges that run along nearly the whole side, one into the border and one out of it
again, as wide on one side as on the others. Boards end in one such edge, and shadows, floors
and the edges of tables run along one or two sides.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from limbsight.vision.light import to_log_light

SIDE = 240
"""Pixels of the shorter side of the copy that is looked at: the rim of a screen, a fortieth of
its width and more, is four."""
BLOCKS, CORNER = 24, 3
"""Stretches of a side whose light is averaged; those at each end may be in a corner."""
LEAST_BLOCKS = 16
"""Of the other 18, in which the edge must be seen: what is shown is as bright as the border in
places."""
REACH = 0.33
"""Share of the picture from its rim inward in which the border is looked for."""
MOST_TILT, TILTS = 0.1, 17
"""Slope of a border against the picture's side, either way: of a screen held askew by some
degrees."""
EDGE = 0.4
"""Least step of light (natural logarithm): 0.55 and more on all four sides of 14 photos of
screens, 0.31 at most at joints of a tiled wall. At 0.2 two of 378 others, of such walls, show
a border on four sides, at 0.4 none."""
WIDEST = 0.12
"""Most width of a border, as a share of the shorter side."""
UNEVEN = 2.5
"""Most ratio of the widths of a border's sides: seen askew, and found to a pixel of four (1.75
at most in those 14)."""

FloatArray = NDArray[np.float64]


def has_border(bgr: NDArray[np.uint8]) -> bool:
    """Say whether a border runs around what a picture shows.

    Parameters
    ----------
    bgr : ndarray, shape (H, W, 3), uint8
        The whole picture, of any size.
    """
    height, width = bgr.shape[:2]
    stride = max(min(height, width) // (2 * SIDE), 1)
    grey = np.ascontiguousarray(bgr[::stride, ::stride, 1])
    shrink = SIDE / min(grey.shape)
    wide, high = (round(n * shrink) for n in grey.shape[::-1])
    found = []
    for turned, across, along in ((grey, wide, high), (grey.T, high, wide)):
        light = cv2.resize(turned, (across, BLOCKS), interpolation=cv2.INTER_AREA)
        logarithm = to_log_light(light)
        for side in (logarithm, logarithm[:, ::-1]):
            border = _border_of(np.asarray(side, float), along)
            if border is None:
                return False
            found.append(border)
    signs, widths = zip(*found, strict=True)
    return len(set(signs)) == 1 and max(widths) <= UNEVEN * min(widths)


def _border_of(light: FloatArray, along: int) -> tuple[int, int] | None:
    """Sign of the step into the border at the left side, and its width; None without one.

    ``light`` has shape (BLOCKS, C); ``along`` is the length of the side in its columns.
    """
    steps = (light[:, 2:] - light[:, :-2])[CORNER : BLOCKS - CORNER]
    reach = round(REACH * SIDE)
    at = (np.arange(len(steps)) - 0.5 * (len(steps) - 1)) * along / BLOCKS
    shift = np.round(np.linspace(-MOST_TILT, MOST_TILT, TILTS)[:, None] * at).astype(int)
    near = steps[:, : reach + int(shift.max())]
    if any(
        np.count_nonzero(one.any(axis=1)) < LEAST_BLOCKS for one in (near > EDGE, near < -EDGE)
    ):
        # Whatever its tilt, no border goes in and out again.
        return None
    column = np.arange(reach)[:, None, None] + shift
    inside = (column >= 0) & (column < steps.shape[1])
    seen = steps[np.arange(len(steps)), np.clip(column, 0, steps.shape[1] - 1)]
    missed = len(steps) - LEAST_BLOCKS
    seen = np.partition(np.where(inside, seen, 0.0), (missed, LEAST_BLOCKS - 1), axis=2)
    risen = seen[:, :, missed].max(axis=1)
    fallen = -seen[:, :, LEAST_BLOCKS - 1].min(axis=1)
    best: tuple[float, int, int] | None = None
    for sign, into, out in ((1, risen, fallen), (-1, fallen, risen)):
        for first in np.flatnonzero(into > EDGE):
            behind = out[first + 2 : first + round(WIDEST * SIDE)]
            if behind.size and behind.max() > EDGE:
                strength = float(min(into[first], behind.max()))
                if best is None or strength > best[0]:
                    best = strength, sign, 2 + int(behind.argmax())
    return None if best is None else best[1:]
