"""What a column takes up as it grows: neither strays nor lines at random."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from limbsight.vision.graduations import find_combs
from limbsight.vision.segments import Segments
from tests.helpers.combs import CAMERA, COLUMN


def test_strays_in_step_beyond_the_ends_are_left_off():
    """A pattern of dots behind the board goes on where the scale ends."""
    scale = COLUMN.comb(CAMERA)
    dots = replace(COLUMN, first=-130, last=130)
    beyond = (np.abs(dots.values) > 45.0) & (dots.numbers % 16 < 4)
    strays = dots.comb(CAMERA).lines.take(beyond)
    names = ("x", "y", "slope", "left", "right", "strength")
    both = {
        name: np.concatenate([getattr(scale.lines, name), getattr(strays, name)])
        for name in names
    }
    [comb] = find_combs(Segments(**both))
    true = np.abs(CAMERA.on_plane(comb.lines.x, comb.lines.y)[1]) < 40.5
    assert np.count_nonzero(true) == len(COLUMN.numbers)
    assert comb.filling > 0.8


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize(("missing", "found"), [(0.0, True), (0.3, False)])
def test_lines_drawn_by_hand_are_a_scale_where_all_are_there(missing, found, seed):
    """They scatter by a tenth of a division, hardly less than random lines; but of
    those half are missing."""
    drawn = COLUMN.comb(CAMERA)
    scatter = 0.1 * drawn.pitch_px
    drawn = COLUMN.comb(CAMERA, noise_px=scatter, missing=missing, seed=seed)
    assert bool(find_combs(drawn.lines)) is found
