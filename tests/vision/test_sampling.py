"""The pixel nearest to a place is the one that is asked, and beyond an edge that edge."""

from __future__ import annotations

import numpy as np

from limbsight.vision.sampling import nearest_grey


def test_the_nearest_pixel_is_asked():
    grey = np.arange(12, dtype=np.uint8).reshape(3, 4)
    x = np.array([[0.4, 1.6], [-5.0, 9.0]])
    y = np.array([[0.0, 1.4], [1.0, 7.0]])
    assert nearest_grey(grey, x, y).tolist() == [[0.0, 6.0], [4.0, 11.0]]
