"""Straighten boards of photographs with truth as the reader does, with their tubes known.

    python vision/training/straighten_boards.py OUT PHOTOS...

PHOTOS are folders as ``python -m sample_images.generator`` or ``python -m
sample_images.path_tracer`` writes them. Where the board is comes from the truth beside each
photograph, so that no board is left out whose scale is hard to find; its depth is off as the
reader's is. Photographs without a scale, and those cut afterwards, whose middle is not known,
are left out.

Each .npz holds ``picture``, a JPEG of the light like that of ``render_strips.py``, and
``tubes`` (N, 2): column of the axis and outside diameter in columns, left to right.
"""

# mypy: ignore-errors
# A script beside the product.

from __future__ import annotations

import json
import math
import sys
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from drawing import camera_of, cut_many, stored
from scipy.optimize import minimize_scalar

from limbsight.vision.light import to_linear
from sample_images.generator.camera import Camera

COLUMNS_PER_WIDTH, MOST_ROWS, MOST_COLUMNS = 17, 300, 800
VIEWS, WIDE_SHARE = 3, 0.25
"""Boards of one photograph; the share that is as wide as the picture, as those of banks."""
NEAR_MM, DEPTH_ERROR_MM = (25.0, 75.0), 4.0
JPEG_QUALITY = 90
INSIDE_SHARE = 0.6
"""A tube counts whose axis lies in the picture over this share of the board."""
ROLLS_TRIED = 73
"""Every 5 degrees, both ends included: boards stand at any angle."""


def boards(photo: Path) -> list[dict[str, np.ndarray]]:
    """Straighten what lies about the scale in one photograph."""
    truth = json.loads(photo.with_suffix(".json").read_text(encoding="utf-8"))
    cut = truth["camera"].get("crop", [0, 0])[:2] != [0, 0]
    if truth["cls"] in ("neg_missing", "neg_blur") or not truth["graduation_px"] or cut:
        return []
    rng = np.random.default_rng([truth["seed"], 79])
    bgr = cv2.imread(str(photo))
    camera = camera_of(truth, bgr.shape[:2])
    if "roll_deg" not in truth["camera"]:
        camera = _rolled(camera, truth)
    return [_board(bgr, camera, truth, rng) for _ in range(VIEWS)]


def _rolled(camera: Camera, truth) -> Camera:
    """Give a path-traced photograph's camera its roll, which its truth leaves out.

    Its lens bends the other way round: where it magnifies the middle by 1 / (1 - k1), it
    falls off by as much towards the corners, to first order in k1.
    """
    graduation, scale_z = truth["graduation"], truth["tube"]["scale_z"]
    unit_mm = graduation["unit_mm"] * (-1 if graduation["labels"] == "downward" else 1)
    camera = replace(camera, k1=-camera.k1 / (1 - camera.k1))

    def misfit(roll_rad: float) -> float:
        rolled, sum_mm2 = replace(camera, roll_rad=roll_rad), 0.0
        for scale in truth["graduation_px"]:
            at = _on_plane(rolled, np.array(scale["px"], float), scale_z)
            y_mm = graduation["y_zero"] + unit_mm * np.array(scale["values"])
            sum_mm2 += np.var(at[:, 0]) + np.mean((at[:, 1] - y_mm) ** 2)
        return sum_mm2

    rolls = np.linspace(-math.pi, math.pi, ROLLS_TRIED)
    first, step = min(rolls, key=misfit), rolls[1] - rolls[0]
    found = minimize_scalar(misfit, bounds=(first - step, first + step), method="bounded")
    return replace(camera, roll_rad=float(found.x))


def _board(bgr, camera, truth, rng) -> dict[str, np.ndarray]:
    tube = truth["tube"]
    depth = tube["z"] + rng.uniform(-DEPTH_ERROR_MM, DEPTH_ERROR_MM)
    px = np.array([p for s in truth["graduation_px"] for p in s["px"]], float)
    on_scale = _on_plane(camera, px, tube["scale_z"])
    low, high = on_scale[:, 1].min(), on_scale[:, 1].max()
    margin = 1.2 * 2 * tube["ro"] * rng.uniform(0.3, 1.3)
    if rng.random() < WIDE_SHARE or truth["cls"] == "bank":
        rim = np.array([(0.0, 0.5), (1.0, 0.5)]) * (camera.width_px - 1, camera.height_px - 1)
        left, right = sorted(_on_plane(camera, rim, depth)[:, 0])
    else:
        left = on_scale[:, 0].min() - rng.uniform(*NEAR_MM)
        right = on_scale[:, 0].max() + rng.uniform(*NEAR_MM)
    step = max(2 * tube["ro"] / COLUMNS_PER_WIDTH, (right - left) / MOST_COLUMNS)
    rows = min(round((high - low + 2 * margin) / step), MOST_ROWS)
    x = np.arange(left, right, step)
    y = np.linspace(high + margin, low - margin, rows)
    points = np.stack(
        [*(a.ravel() for a in np.meshgrid(x, y)), np.full(x.size * y.size, depth)], axis=1
    )
    at = camera.project(points).reshape(rows, x.size, 2)
    along = np.hypot(*(at[rows // 2, -1] - at[rows // 2, 0])) / x.size
    small, factor = _reduced(bgr, along)
    mapped = ((at + 0.5) / factor - 0.5).astype(np.float32)
    light = cv2.remap(
        to_linear(small),
        mapped[..., 0],
        mapped[..., 1],
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )[:, :, ::-1]
    bright = float(np.percentile(light.max(axis=2), 98.0))
    tubes = _tubes(camera, tube, (high, low), depth)
    columns = [
        ((place - left) / step, 2 * tube["ro"] / step)
        for place, share in tubes
        if share >= INSIDE_SHARE
    ]
    return {
        "picture": stored(light / bright, JPEG_QUALITY),
        "tubes": np.array(sorted(columns), np.float32).reshape(-1, 2),
    }


def _tubes(camera, tube, ends, depth) -> list[tuple[float, float]]:
    """Where each axis is seen in the sampled plane, and its share in the picture."""
    found = []
    for x_mm in tube["x"]:
        y = np.linspace(*ends, 9)
        px = camera.project(np.stack([np.full(9, x_mm), y, np.full(9, tube["z"])], axis=1))
        last = np.array([camera.width_px - 1, camera.height_px - 1])
        inside = ((px > 0) & (px < last)).all(axis=1)
        place = _on_plane(camera, px, depth)[:, 0]
        found.append((float(place.mean()), float(inside.mean())))
    return found


def _on_plane(camera: Camera, px: np.ndarray, z_mm: float) -> np.ndarray:
    """Points of a plane z that pixels show, shape (N, 3)."""
    way = camera.directions(px[:, 0], px[:, 1])
    origin = np.asarray(camera.origin_mm)
    return origin + way * ((z_mm - origin[2]) / way[:, 2])[:, None]


def _reduced(bgr: np.ndarray, px_per_column: float) -> tuple[np.ndarray, int]:
    factor = max(int(px_per_column), 1)
    rows, columns = bgr.shape[0] // factor, bgr.shape[1] // factor
    whole = bgr[: rows * factor, : columns * factor]
    return cv2.resize(whole, (columns, rows), interpolation=cv2.INTER_AREA), factor


if __name__ == "__main__":
    cut_many(__doc__, boards)
