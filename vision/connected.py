"""Connected components of the few pixels that are set in a large picture.

Lines are runs of pixels in rows; runs that touch, also at corners, belong together.  What is
not set costs nothing, where filling a picture with labels does.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

IntArray = NDArray[np.int64]


def components(row: IntArray, column: IntArray, width: int) -> tuple[IntArray, int]:
    """Label pixels by component, with neighbours in eight directions.

    Parameters
    ----------
    row, column : ndarray, shape (P,)
        Pixels from the top, in each row from the left.
    width
        Of the picture.

    Returns
    -------
    label : ndarray, shape (P,)
        From 0, in the order of the components' first pixels.
    count
        How many there are.
    """
    if not len(row):
        return np.zeros(0, np.int64), 0
    # Two more columns keep the end of a row apart from the beginning of the next.
    line = width + 2
    place = row * line + column
    begins = np.diff(place, prepend=-2) > 1
    first = place[begins]
    last = place[np.append(begins[1:], True)]
    above, below = _touching(first, last, line)
    root = _roots(len(first), above, below)
    own = root == np.arange(len(root))
    of_run = (np.cumsum(own) - 1)[root]
    return of_run[np.cumsum(begins) - 1], int(own.sum())


def _touching(first: IntArray, last: IntArray, line: int) -> tuple[IntArray, IntArray]:
    """Pairs of runs in neighbouring rows that touch: the upper ones and the lower ones."""
    low = np.searchsorted(last, first + line - 1)
    high = np.searchsorted(first, last + line + 1, side="right")
    count = np.maximum(high - low, 0)
    above = np.repeat(np.arange(len(first)), count)
    within = np.arange(len(above)) - np.repeat(np.cumsum(count) - count, count)
    return above, low[above] + within


def _roots(count: int, one: IntArray, other: IntArray) -> IntArray:
    """First member of the group of each of ``count`` things of which pairs belong together.

    Each looks up to the first of its neighbours' groups, then to the one that looks up to,
    until nothing changes: groups of any shape settle after few rounds (Y. Shiloach and
    U. Vishkin, *J. Algorithms* 3 (1982) 57).
    """
    root = np.arange(count)
    while True:
        a, b = root[one], root[other]
        if (a == b).all():
            return root
        low, high = np.minimum(a, b), np.maximum(a, b)
        np.minimum.at(root, high, low)
        upper = root[root]
        while (upper != root).any():
            root, upper = upper, upper[upper]
