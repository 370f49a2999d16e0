"""What is searched for a scale, in which order."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np

from limbsight.find_scale import _tries


def tried(width: int, height: int) -> list[tuple[float, bool]]:
    """Factor of the picture searched and whether it is as it was taken."""
    picture: Any = SimpleNamespace(bgr=np.zeros((height, width, 3), np.uint8), reduced=None)
    return [(source.factor, stand.turn.is_none) for source, stand in _tries(picture, None)]


def test_a_large_picture_is_searched_once_more_at_its_own_size():
    assert tried(3000, 4000)[:2] == [(2.0, True), (1.0, True)]


def test_a_small_one_is_not():
    assert tried(1200, 1600)[:1] == [(1.0, True)]
    assert all(not as_taken for _, as_taken in tried(1200, 1600)[1:])
