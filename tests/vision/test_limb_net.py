"""The network's tubes on boards drawn by ray optics, of seeds the training never draws."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from limbsight.vision.limb_net import propose_limbs
from sample_images.generator import cases, render
from sample_images.generator.strips import StripCamera

MM_PER_COLUMN = 0.75


def board(cls: str, seed: int) -> tuple[np.ndarray, list[float], float]:
    """A straightened board, columns of its tubes, columns to their outside diameter."""
    case = cases.draw(cls, seed)
    g = case.graduation
    low, high = sorted((g.y_mm(g.lo), g.y_mm(g.hi)))
    across = [limb.x_mm for limb in case.limbs] + [s.x_mm for s in case.scales]
    left, right = min(across) - 25, max(across) + 25
    camera = StripCamera(
        origin_mm=case.camera.origin_mm,
        left_mm=left,
        top_mm=high,
        depth_mm=case.tube_z_mm,
        step_mm=MM_PER_COLUMN,
        width_px=int((right - left) / MM_PER_COLUMN),
        height_px=int((high - low) / MM_PER_COLUMN),
    )
    light = render.render(replace(case.world, bend=None), camera)
    light = np.clip(0.9 * light / np.percentile(light.max(axis=2), 98.0), 0, 1)
    bgr = np.ascontiguousarray((255 * light ** (1 / 2.2)).astype(np.uint8)[:, :, ::-1])
    columns = [(t.x_mm - left) / MM_PER_COLUMN - 0.5 for t in case.world.tubes]
    return bgr, sorted(columns), 2 * case.outer_mm / MM_PER_COLUMN


@pytest.mark.parametrize(
    ("cls", "seed"),
    [("utube_colour", 702), ("single", 704), ("school_stick", 705)],
)
def test_tubes_are_among_the_candidates(cls, seed):
    straight, columns, width = board(cls, seed)
    found = propose_limbs(straight, 9.0 / MM_PER_COLUMN)
    assert found is not None
    assert 0.8 < found.width_columns / width < 1.25
    for column in columns:
        near = [abs(c.centre_column - column) < 0.15 * width for c in found.candidates]
        assert sum(near) == 1


def test_a_plain_board_has_no_likely_tube():
    plain = np.full((300, 200, 3), 210, np.uint8)
    found = propose_limbs(plain, 12.0)
    assert found is None or max(c.probability for c in found.candidates) < 0.5
