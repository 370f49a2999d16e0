"""Fillings found in a drawn tube, against where they were drawn."""

from __future__ import annotations

import numpy as np

from limbsight.vision.layers import Layers
from limbsight.vision.levels import find_layers
from tests.helpers.tubes import Tube

ROWS = (20, 380)
TUBE = Tube()
MERCURY = (0.30, 0.31, 0.32)
SEARCH_ROWS = 0.7 * TUBE.bore
"""The fit that follows searches nine tenths of a bore about this row."""


def layers_of(tube: Tube, count: int = 1, rows: tuple[int, int] = ROWS, **options) -> Layers:
    return find_layers(tube.strip(**options), count, rows)


def near(layers: Layers, *levels: float, within: float) -> bool:
    found = [interface.row for interface in layers.interfaces]
    return len(found) == len(levels) and bool(
        np.all(np.abs(np.subtract(found, levels)) < within)
    )
