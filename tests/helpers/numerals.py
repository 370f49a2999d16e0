"""Numbers beside a scale: where they are, and what a network that sees them says."""

from __future__ import annotations

import numpy as np

from limbsight.vision.numeral_columns import NumeralColumn, ScaleGeometry
from limbsight.vision.numeral_strings import CHARACTERS

PITCH_PX = 8.0
FIGURES_PX = 17.0
"""As high as in a crop: a pixel of the picture is one of the crop."""


def geometry(count=41, lean=0.0, first=0):
    """A straight scale, its lowest graduation, number ``first``, at 200, 380."""
    k = np.arange(count)
    up = np.array([np.sin(lean), -np.cos(lean)])
    return ScaleGeometry(
        index=first + k,
        centre_px=np.array([200.0, 380.0]) + PITCH_PX * k[:, None] * up,
        along_px=np.tile(PITCH_PX * up, (count, 1)),
        across_px=np.tile([np.cos(lean), np.sin(lean)], (count, 1)),
        tick_half_length_px=10.0,
    )


def numbers(**changed):
    """A column of two-figure numbers right of it, at every tenth graduation."""
    usual = {
        "numbered_every": 10,
        "phase": 0,
        "middle_index": 20.0,
        "across_px": 60.0,
        "across_slope_px": 0.0,
        "offset_px": 0.0,
        "offset_slope_px": 0.0,
        "width_px": 30.0,
        "height_px": FIGURES_PX,
        "lying_across_px": 60.0,
        "lying_across_slope_px": 0.0,
        "lying_width_px": FIGURES_PX,
        "score": 1.0,
    }
    return NumeralColumn(**usual | changed)


def shown(*strings, certain=0.9):
    """Probabilities in which each string is spelt, a blank between its figures."""
    rows = []
    for string in strings:
        classes = [0]
        for character in string:
            classes += [CHARACTERS.index(character) + 1, 0]
        rows.append(classes)
    longest = max(map(len, rows))
    count = 1 + len(CHARACTERS)
    found = np.full((len(rows), longest, count), (1 - certain) / (count - 1))
    for row, classes in zip(found, rows, strict=True):
        at = classes + [0] * (longest - len(classes))
        row[np.arange(longest), at] = certain
    return found
