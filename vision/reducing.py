"""Pictures made smaller by averages over areas."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray


def averaged(picture: NDArray[np.uint8], factor: int) -> NDArray[np.uint8]:
    """Average blocks of ``factor`` by ``factor`` pixels; rows and columns left over are cut.

    Whole factors of a picture cut to whole blocks keep every centre exact, and are fast.
    """
    rows, columns = picture.shape[0] // factor, picture.shape[1] // factor
    whole = picture[: rows * factor, : columns * factor]
    small = cv2.resize(whole, (columns, rows), interpolation=cv2.INTER_AREA)
    return np.asarray(small, np.uint8)


def shrunk(picture: NDArray[np.uint8], size: tuple[int, int]) -> NDArray[np.uint8]:
    """Reduce to ``size`` (width, height).

    Whole factors come first: OpenCV averages whole pixels several times as fast as parts of
    them.  Where a new pixel ends within a block, the block's mean stands for either part of
    it.  Rows and columns that whole blocks leave over are cut, which moves the far end by less
    than a pixel of the result.
    """
    factor = min(picture.shape[1] // size[0], picture.shape[0] // size[1])
    if factor > 1:
        picture = averaged(picture, factor)
    return np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.uint8)
