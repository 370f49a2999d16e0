"""Components against those that OpenCV finds in the whole picture."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from limbsight.vision.connected import components


def labels_of(mask):
    rows, columns = np.nonzero(mask)
    return components(rows, columns, mask.shape[1])


@pytest.mark.parametrize("share", [0.02, 0.2, 0.4, 0.7])
@pytest.mark.parametrize("seed", range(5))
def test_random_pixels(share, seed):
    mask = np.random.default_rng(seed).random((60, 83)) < share
    label, count = labels_of(mask)
    expected, theirs = cv2.connectedComponents(mask.astype(np.uint8), connectivity=8)
    assert count == expected - 1
    pairs = np.unique(np.stack([label, theirs[mask]]), axis=1)
    assert pairs.shape[1] == count


def test_a_row_ends_at_the_border():
    mask = np.zeros((3, 5), bool)
    mask[0, 4] = mask[1, 0] = mask[2, 0] = True
    label, count = labels_of(mask)
    assert count == 2
    assert label.tolist() == [0, 1, 1]


def test_a_spiral_is_one():
    mask = np.zeros((41, 41), bool)
    for ring in range(0, 20, 2):
        mask[ring, max(ring - 2, 0) : 41 - ring] = mask[40 - ring, ring : 41 - ring] = True
        mask[ring : 41 - ring, 40 - ring] = mask[ring + 2 : 41 - ring, ring] = True
    assert labels_of(mask)[1] == cv2.connectedComponents(mask.astype(np.uint8))[0] - 1 == 1


def test_nothing_has_no_components():
    label, count = labels_of(np.zeros((4, 4), bool))
    assert len(label) == count == 0
