"""Columns of graduations found in drawn pictures, and their lines against the true ones."""

from __future__ import annotations

import numpy as np

from limbsight.vision.comb import Comb
from limbsight.vision.graduations import find_combs
from limbsight.vision.segments import find_segments
from tests.helpers.boards import Camera, Column, photograph, print_of

COLUMN = Column()
CAMERA = Camera(focal_px=1517.0)


def offsets(found: Comb, column: Column, camera: Camera) -> np.ndarray:
    """Found index minus true number, of every line; all alike where no line was miscounted."""
    truth = column.comb(camera, start=0)
    numbers = []
    for x, y in zip(found.lines.x, found.lines.y, strict=True):
        at = truth.lines.y_at(np.full(len(truth.index), x))
        nearest = int(np.argmin(np.abs(at - y)))
        assert abs(at[nearest] - y) < 0.3 * found.pitch_px
        numbers.append(truth.index[nearest])
    return np.asarray(found.index - np.array(numbers))


def combs_in(camera, *columns, **options):
    picture = photograph(camera, print_of(*columns), **options)
    grey = np.ascontiguousarray(picture[:, :, 1])
    return find_combs(find_segments(grey, dark=True))
