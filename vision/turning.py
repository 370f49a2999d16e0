"""Turning a picture about its centre, so that a scale in it stands upright.

The middle of the turned picture is the middle of the one that was taken: what a camera does
about its axis (focal length, principal point, radial distortion) stays as it was.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from limbsight.vision.working import WorkingImage

LOSSLESS_WITHIN_RAD = float(np.radians(8.0))
"""A quarter turn, which moves whole pixels, serves where the rest is no more than this: the
graduations are found up to 20 degrees of slope, perspective takes up to 5 of them, and what
is found does not get worse up to 10 (photos of boards that were turned step by step)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Turn:
    """A turn of the picture, from where it is upright to where the scale is.

    Attributes
    ----------
    angle_rad
        Where the turned picture's upward direction points in the picture as taken, from its
        own upward direction towards the right.
    size_px
        Width and height of the picture as taken.
    """

    angle_rad: float
    size_px: tuple[int, int]

    @classmethod
    def towards(cls, angle_rad: float, size_px: tuple[int, int]) -> Turn:
        """Turn to an angle, by whole quarters where that comes close enough."""
        quarters = round(angle_rad / (np.pi / 2)) * (np.pi / 2)
        near = abs(angle_rad - quarters) <= LOSSLESS_WITHIN_RAD
        return cls(angle_rad=float(quarters if near else angle_rad), size_px=size_px)

    @property
    def is_none(self) -> bool:
        """Whether nothing is turned at all."""
        return bool(np.allclose(self._matrix, np.eye(2)))

    @property
    def canvas_px(self) -> tuple[int, int]:
        """Width and height that hold the turned picture."""
        width, height = np.abs(self._matrix) @ np.array(self.size_px, float)
        return int(np.ceil(width - 1e-6)), int(np.ceil(height - 1e-6))

    def to_picture(
        self, x_px: ArrayLike, y_px: ArrayLike
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Carry positions from the turned picture to the one that was taken."""
        (from_x, from_y), (to_x, to_y) = self._middles
        (a, b), (c, d) = self._matrix
        x, y = np.asarray(x_px) - from_x, np.asarray(y_px) - from_y
        return np.asarray(a * x + b * y + to_x), np.asarray(c * x + d * y + to_y)

    def from_picture(
        self, x_px: ArrayLike, y_px: ArrayLike
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Carry positions from the picture as taken to the turned one."""
        (to_x, to_y), (from_x, from_y) = self._middles
        (a, b), (c, d) = self._matrix.T
        x, y = np.asarray(x_px) - from_x, np.asarray(y_px) - from_y
        return np.asarray(a * x + b * y + to_x), np.asarray(c * x + d * y + to_y)

    @property
    def _matrix(self) -> NDArray[np.float64]:
        cos, sin = np.cos(self.angle_rad), np.sin(self.angle_rad)
        return np.round(np.array([[cos, -sin], [sin, cos]]), 15)

    @property
    def _middles(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """Centres of the turned picture and of the one that was taken."""
        (width, height), (w, h) = self.canvas_px, self.size_px
        return (0.5 * (width - 1), 0.5 * (height - 1)), (0.5 * (w - 1), 0.5 * (h - 1))


def turned_copy(working: WorkingImage, turn: Turn) -> WorkingImage:
    """Turn a working copy; corners that the picture leaves empty get its median colour.

    Parameters
    ----------
    working
        Copy of the picture as taken, reduced or not.

    Returns
    -------
    WorkingImage
        Of the same factor; ``full_size_px`` is the turned picture's.
    """
    if turn.is_none:
        return working
    factor = working.factor
    width, height = turn.canvas_px
    shape = int(np.ceil(width / factor)), int(np.ceil(height / factor))
    # Pixel centres: the first pixel covers -0.5 to 0.5 at any size.
    origin = 0.5 * factor - 0.5
    corner = [(float(v) + 0.5) / factor - 0.5 for v in turn.to_picture(origin, origin)]
    cos, sin = np.cos(turn.angle_rad), np.sin(turn.angle_rad)
    matrix = np.round([[cos, -sin, corner[0]], [sin, cos, corner[1]]], 9)
    empty = np.median(working.bgr[::16, ::16].reshape(-1, 3), axis=0)
    bgr = cv2.warpAffine(
        working.bgr,
        matrix,
        shape,
        flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_CONSTANT,
        borderValue=[float(v) for v in empty],
    )
    return replace(working, bgr=np.asarray(bgr, np.uint8), full_size_px=turn.canvas_px)
