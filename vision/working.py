"""A smaller copy of a large picture to search in; measurements go back to full size."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from limbsight.vision.graduations import Comb, find_combs, join_combs
from limbsight.vision.segments import Segments, find_segments

WORKING_PIXELS = 3.2e6
"""Search size: graduations of a 0.5 m scale that fills the picture are 4 px apart, and the
search stays under a tenth of a second."""
PRINT_CONTRAST = 0.35
"""A printed line differs from the board beyond its end by at least this share of what it
differs from the board beside it; the gap between two lines does not differ at all."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WorkingImage:
    """The picture reduced by ``factor`` (1 for pictures that are small enough).

    Attributes
    ----------
    bgr : ndarray, shape (h, w, 3), uint8
    factor
        Pixels of the full picture per pixel here.
    """

    bgr: NDArray[np.uint8]
    factor: float


def working_image(bgr: NDArray[np.uint8]) -> WorkingImage:
    """Reduce a picture to the search size by area averages."""
    height, width = bgr.shape[:2]
    factor = float(np.sqrt(height * width / WORKING_PIXELS))
    if factor <= 1.2:
        return WorkingImage(bgr=bgr, factor=1.0)
    # Whole factors keep the centres of blocks exact and are faster.
    factor = float(np.ceil(factor)) if factor > 1.5 else factor
    size = (round(width / factor), round(height / factor))
    small = cv2.resize(bgr, size, interpolation=cv2.INTER_AREA)
    return WorkingImage(bgr=np.asarray(small, np.uint8), factor=width / size[0])


def find_scales(working: WorkingImage) -> tuple[tuple[Comb, ...], ...]:
    """Find graduated scales, dark or light on their board.

    Returns
    -------
    tuple of tuple of Comb
        Groups of columns with one index, most graduations first, in pixels of the full
        picture.
    """
    grey = np.ascontiguousarray(working.bgr[:, :, 1])
    best: tuple[tuple[Comb, ...], ...] = ()
    for dark in (True, False):
        combs = find_combs(find_segments(grey, dark=dark))
        printed = tuple(comb for comb in combs if _is_print(grey, comb))
        groups = join_combs(printed)
        if _size(groups) > _size(best):
            best = groups
        if _size(best) >= ENOUGH_GRADUATIONS:
            break
    return tuple(tuple(_enlarged(comb, working.factor) for comb in group) for group in best)


ENOUGH_GRADUATIONS = 40
"""A column of dark print this long is not a chance find: light print is not looked for."""


def _size(groups: tuple[tuple[Comb, ...], ...]) -> int:
    return sum(len(comb.index) for comb in groups[0]) if groups else 0


def _is_print(grey: NDArray[np.uint8], comb: Comb) -> bool:
    """Whether the lines stand out from the board beyond their ends, as print does.

    The gaps between light lines are dark lines too, and evenly spaced, but they go on into
    the board.
    """
    lines = comb.lines
    half = 0.5 * comb.pitch_px
    on_line = _sample(grey, lines.x, lines.y)
    beside = 0.5 * (
        _sample(grey, lines.x, lines.y - half) + _sample(grey, lines.x, lines.y + half)
    )
    contrast = np.abs(on_line - beside)
    clear = max(4.0, 0.15 * float(np.median(lines.length)))
    beyond = [
        np.abs(on_line - _sample(grey, x, lines.y_at(x)))
        for x in (lines.left - clear, lines.right + clear)
    ]
    ends = np.maximum(*beyond)
    return bool(np.median(ends) > PRINT_CONTRAST * np.median(contrast))


def _sample(grey: NDArray[np.uint8], x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    height, width = grey.shape
    columns = np.clip(np.round(x).astype(int), 0, width - 1)
    rows = np.clip(np.round(y).astype(int), 0, height - 1)
    return grey[rows, columns].astype(np.float64)


def _enlarged(comb: Comb, factor: float) -> Comb:
    if factor == 1.0:
        return comb
    lines = comb.lines

    def there(position: NDArray[np.float64]) -> NDArray[np.float64]:
        # Pixel centres: the first pixel covers -0.5 to 0.5 at any size.
        return (position + 0.5) * factor - 0.5

    large = Segments(
        x=there(lines.x),
        y=there(lines.y),
        slope=lines.slope,
        left=there(lines.left),
        right=there(lines.right),
        strength=lines.strength,
    )
    return replace(comb, lines=large, residual_px=comb.residual_px * factor)
