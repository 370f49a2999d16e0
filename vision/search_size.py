"""The size of picture that scales are searched in."""

from __future__ import annotations

import numpy as np

SEARCH_PIXELS = 3.2e6
"""Search size: graduations of a 0.5 m scale that fills the picture are 4 px apart, and the
search stays under a tenth of a second."""


def search_factor(size_px: tuple[int, int]) -> int:
    """Whole number by which a picture is reduced to search in, about ``SEARCH_PIXELS``."""
    width, height = size_px
    return max(round(float(np.sqrt(width * height / SEARCH_PIXELS))), 1)
