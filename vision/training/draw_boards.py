"""Draw straightened boards with their tubes known, to train the network of limbs on.

    python vision/training/draw_boards.py OUT --seed 40000 --minutes 60 --jobs 16

Instruments come from ``sample_images.generator``; drawn is what the reader sees of the
surroundings of a scale: the board straightened in the plane of the tubes' axes, by a pinhole
camera whose image plane lies there (see ``render_strips.py``).

Each .npz holds ``picture``, a JPEG of the light like that of ``render_strips.py``, and
``tubes`` (N, 2): column of the axis and outside diameter in columns, left to right.
"""

# mypy: ignore-errors
# A script beside the product: its libraries are no dependencies and need no types.

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from drawing import Classes, coarser_prints, draw_many, stored, varied

from sample_images.generator import cases, optics, render
from sample_images.generator.strips import StripCamera

MM_PER_COLUMN = 0.75
MOST_ROWS = 400
VIEWS = 3
render.GLASS_SAMPLES, render.LEVEL_SAMPLES, render.OPAQUE_SAMPLES = 1, 1, 1
optics.CULL_WEIGHT = 0.05
CLASSES = (*cases.READABLE, "utube_clear", "utube_mercury", "bank", "utube_behind")
NEGATIVES = ("neg_missing", "neg_outofrange", "neg_outofrange", "neg_occluded")
NEGATIVE_SHARE = 0.25


def draw(cls: str, seed: int) -> list[dict[str, npt.NDArray[np.generic]]]:
    """Draw one instrument's board, with other dyes and other parts of it each time."""
    rng = np.random.default_rng([seed, 78])
    case = cases.draw(cls, seed)
    return [_board(case, rng) for _ in range(VIEWS)]


def _board(case: cases.Case, rng: np.random.Generator) -> dict[str, npt.NDArray[np.generic]]:
    world = varied(case.world, rng)
    g = case.graduation
    low, high = sorted((g.y_mm(g.lo), g.y_mm(g.hi)))
    low, high = low - rng.uniform(0, 4), high + rng.uniform(0, 4)
    # Rows are squeezed together where the scale is long: tubes are upright.
    step_y = max(MM_PER_COLUMN, (high - low) / MOST_ROWS)
    across = [limb.x_mm for limb in case.limbs] + [s.x_mm for s in case.scales]
    left = min(across) - rng.uniform(8, 55)
    right = max(across) + rng.uniform(8, 55)
    camera = StripCamera(
        origin_mm=case.camera.origin_mm,
        left_mm=left,
        top_mm=high,
        depth_mm=case.tube_z_mm + rng.uniform(-4, 3),
        step_mm=MM_PER_COLUMN,
        width_px=int((right - left) / MM_PER_COLUMN),
        height_px=int((high - low) / MM_PER_COLUMN),
    )
    world = replace(world, scene=coarser_prints(world.scene, 1 / MM_PER_COLUMN))
    light = render.render(world, camera)
    rows = int((high - low) / step_y)
    light = cv2.resize(light, (light.shape[1], rows), interpolation=cv2.INTER_AREA)
    tubes = []
    for tube in world.tubes:
        y = np.array([[tube.x_mm, 0.5 * (low + high), tube.z_mm]])
        column = float(camera.project(y)[0, 0])
        tubes.append((column, 2 * tube.outer_mm / MM_PER_COLUMN))
    bright = float(np.percentile(light.max(axis=2), 98.0))
    return {
        "picture": stored(light / bright),
        "tubes": np.array(sorted(tubes), np.float32).reshape(-1, 2),
    }


if __name__ == "__main__":
    draw_many(
        __doc__,
        draw,
        Classes(usual=CLASSES, negative=NEGATIVES, negative_share=NEGATIVE_SHARE),
        first_seed=40000,
    )
