"""An empty photo to draw on, and how much of a drawing has a colour."""

from __future__ import annotations

import numpy as np

from limbsight.vision.picture import Picture

PLAIN = 128


def plain_picture(width=600, height=800) -> Picture:
    return Picture(
        size_px=(width, height),
        decode=lambda: np.full((height, width, 3), PLAIN, np.uint8),
        focal_35mm=None,
        taken_at=None,
        sha256="ab" * 32,
    )


def share_of(image, colour, tolerance=12) -> float:
    near = np.abs(image.astype(int) - np.array(colour)).max(axis=-1) <= tolerance
    return float(near.mean())
