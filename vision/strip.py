"""Sampling a picture on a grid that straightens it."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from limbsight.vision.light import to_linear


def sample(
    bgr: NDArray[np.uint8], x_px: NDArray[np.float32], y_px: NDArray[np.float32]
) -> NDArray[np.uint8]:
    """Sample sRGB-encoded colours bilinearly; beyond the picture its rim is repeated.

    Parameters
    ----------
    bgr : ndarray, shape (H, W, 3), uint8
    x_px, y_px : ndarray, shape (R, C), float32

    Returns
    -------
    ndarray, shape (R, C, 3), uint8
    """
    return np.asarray(
        cv2.remap(bgr, x_px, y_px, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), np.uint8
    )


def sample_linear(
    bgr: NDArray[np.uint8], x_px: NDArray[np.float32], y_px: NDArray[np.float32]
) -> NDArray[np.float32]:
    """Sample linear light (RGB), so that what is averaged or fitted is light.

    Only the part of the picture under the grid is linearised.

    Returns
    -------
    ndarray, shape (R, C, 3), float32 in 0..1, red first
    """
    height, width = bgr.shape[:2]
    left = int(np.clip(np.floor(x_px.min()) - 2, 0, width - 1))
    right = int(np.clip(np.ceil(x_px.max()) + 3, left + 1, width))
    top = int(np.clip(np.floor(y_px.min()) - 2, 0, height - 1))
    bottom = int(np.clip(np.ceil(y_px.max()) + 3, top + 1, height))
    part = to_linear(np.ascontiguousarray(bgr[top:bottom, left:right]))
    sampled = cv2.remap(
        part,
        x_px - np.float32(left),
        y_px - np.float32(top),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return np.asarray(sampled[:, :, ::-1], np.float32)
