"""The camera behind a picture: size, focal length, principal point, distortion.

Radial distortion is one parameter k1 on the half diagonal of the picture:
x_u = x_c + (x - x_c) (1 + k1 r^2).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

FULL_FRAME_DIAGONAL_MM = 43.267
"""Diagonal of the 36 mm x 24 mm frame that 35 mm-equivalent focal lengths refer to."""
FOCAL_RELATIVE_UNCERTAINTY = 0.025
"""Standard uncertainty of a 35 mm-equivalent focal length from EXIF: whether it refers to the
diagonal or the width differs by 3.8 % (rectangular half-width, u = 2.2 %); rounding: 1 %."""
FOCAL_GUESS_MM = 37.0
FOCAL_GUESS_RELATIVE_UNCERTAINTY = 0.4
"""Phones and cameras hold 24 mm to 80 mm equivalents. Parallax and elevation go with 1 / f:
the guess is the middle of that, which covers them as +-1.4 sigma."""
CUT_SHARE, CUT_RELATIVE_UNCERTAINTY, CUT_OFFSET = 0.7, 0.3, 0.15
"""Of a picture cut out of another: its diagonal as a share of the whole one's, 0.4 to 1, with
the standard uncertainty as a share of that; and standard uncertainty of the distance of their
middles in half diagonals: what is photographed fills the picture, its middle within a tenth of
the longer side from the picture's (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Square:
    """A square of known size in the graduated plane, or close to it: a printed label.

    Attributes
    ----------
    corners_px : ndarray, shape (4, 2)
        In order around it.
    edge
        In scale units.
    """

    corners_px: FloatArray
    edge: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """What the camera matrix is made of: picture size and focal length."""

    width_px: int
    height_px: int
    focal_px: float
    focal_relative_uncertainty: float
    taken_size_px: tuple[int, int] | None = None
    """Width and height as taken, of a picture that was turned about its middle."""
    offset_px: tuple[float, float] = (0.0, 0.0)
    u_offset_px: float = 0.0
    """Of the principal point from the middle of the picture, which may be cut out of a larger
    one; and its standard uncertainty in each direction."""
    square: Square | None = None
    """Seen on the board, where there is one."""

    @property
    def centre_px(self) -> tuple[float, float]:
        """Principal point: the middle of the picture, unless that was cut out of one."""
        dx, dy = self.offset_px
        return 0.5 * (self.width_px - 1) + dx, 0.5 * (self.height_px - 1) + dy

    @property
    def half_diagonal_px(self) -> float:
        """Unit of length for distortion and of the fit's own coordinates."""
        return 0.5 * float(np.hypot(*(self.taken_size_px or (self.width_px, self.height_px))))

    def turned(self, width_px: int, height_px: int) -> Frame:
        """Return the frame of this picture turned about its middle, onto another canvas."""
        return replace(
            self,
            width_px=width_px,
            height_px=height_px,
            taken_size_px=(self.width_px, self.height_px),
        )

    @classmethod
    def of_picture(
        cls, width_px: int, height_px: int, focal_35mm: float | None, *, whole: bool = True
    ) -> Frame:
        """Build from the picture's size and EXIF focal length, or the stated guess.

        A picture that is not ``whole`` was cut out of one whose focal length that is.
        """
        diagonal = float(np.hypot(width_px, height_px))
        if focal_35mm is None:
            focal, relative = FOCAL_GUESS_MM, FOCAL_GUESS_RELATIVE_UNCERTAINTY
        elif whole:
            focal, relative = focal_35mm, FOCAL_RELATIVE_UNCERTAINTY
        else:
            focal, relative = focal_35mm / CUT_SHARE, CUT_RELATIVE_UNCERTAINTY
        return cls(
            width_px=width_px,
            height_px=height_px,
            focal_px=focal / FULL_FRAME_DIAGONAL_MM * diagonal,
            focal_relative_uncertainty=relative,
            u_offset_px=0.0 if whole else CUT_OFFSET * 0.5 * diagonal,
        )


def normalise(x: FloatArray, y: FloatArray, frame: Frame) -> tuple[FloatArray, FloatArray]:
    """Place from the principal point, in half diagonals."""
    cx, cy = frame.centre_px
    half = frame.half_diagonal_px
    return (x - cx) / half, (y - cy) / half


def distort(
    x: FloatArray, y: FloatArray, frame: Frame, k1: float
) -> tuple[FloatArray, FloatArray]:
    """Invert x_u = x (1 + k1 r^2) by fixed-point steps and return pixels."""
    r2 = x * x + y * y
    factor = np.ones_like(r2)
    for _ in range(6):
        factor = 1 + k1 * r2 / (factor * factor)
    cx, cy = frame.centre_px
    half = frame.half_diagonal_px
    return np.asarray(cx + half * x / factor), np.asarray(cy + half * y / factor)
