"""Printed labels laid into pictures."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.helpers.shots import decode_srgb, encode_srgb

SQUARE = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
"""Corners of a label's black square, its upper left one first."""
_CELL_PX = 24
_SOFT_PX = 0.7


def label_picture(number: int) -> NDArray[np.uint8]:
    """An AprilTag of the family 36h11 with a white margin of one cell: ten cells wide."""
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    tag = cv2.aruco.generateImageMarker(family, number, 8 * _CELL_PX)
    return np.pad(np.asarray(tag, np.uint8), _CELL_PX, constant_values=255)


def pasted(
    picture: NDArray[np.uint8], number: int, corners_px: NDArray[np.float64]
) -> NDArray[np.uint8]:
    """Lay a label into a BGR picture, the corners of its black square at (4, 2) px."""
    label = label_picture(number)
    middle = 0.5 * (len(label) - 1)
    own = (middle + 4 * _CELL_PX * SQUARE).astype(np.float32)
    seen = cv2.getPerspectiveTransform(own, corners_px.astype(np.float32))
    size = picture.shape[1::-1]
    drawn = 0.02 + 0.7 / 255 * cv2.warpPerspective(
        label.astype(np.float32), seen, size, flags=cv2.INTER_AREA
    )
    share = cv2.warpPerspective(np.ones_like(label, np.float32), seen, size)
    light = decode_srgb(picture.astype(np.float32) / np.float32(255))
    mixed = light * (1 - share[..., None]) + (drawn * share)[..., None]
    mixed = cv2.GaussianBlur(mixed, (0, 0), _SOFT_PX)
    share = np.clip(4.0 * cv2.GaussianBlur(share, (0, 0), 3.0), 0.0, 1.0)[..., None]
    shown = encode_srgb((light * (1 - share) + mixed * share).astype(np.float32))
    return np.round(255 * shown).astype(np.uint8)
