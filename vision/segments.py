"""Short straight lines nearly across the picture: candidates for graduations.

A graduation is a thin line, dark on a light board or light on a dark one. It answers to a
second derivative across it whatever the shading of the board, and its centre line does not
move with tone curve or blur, because it is symmetric.

Positions: ``x`` to the right, ``y`` down, (0, 0) the centre of the first pixel of the image
that was handed in.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
ImageArray = NDArray[np.uint8]

SMOOTH_ALONG_PX = 5
"""Mean over this many pixels along the line before the second derivative: half of the
shortest graduation worth reading (10 px), so its ends stay within 2 px."""
SMOOTH_ACROSS_SIGMA_PX = 0.8
"""Gaussian across the line; lines 3 px apart (the least that is read) keep 30 % of their
contrast."""
END_TRIM_PX = 4.0
"""Left out at each end of a line's fit: half of the smoothing (2.5 px) and of an ordinary
motion blur (3 px)."""
MIN_LENGTH_PX = 5
MAX_SLOPE = 0.36
"""Tangent of 20 degrees: 15 degrees of tilt and perspective, and 5 of margin."""
NOISE_FACTOR = 3.0
"""A ridge counts above this many robust standard deviations of the response; single pixels
pass often, five in a row in a line hardly ever."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Segments:
    """Straight ridges, one row each.

    Attributes
    ----------
    x, y
        Centre of the segment [px], shape (N,).
    slope
        dy/dx of the segment, shape (N,).
    left, right
        x of its two ends [px], shape (N,).
    strength
        Mean second derivative across the line [grey levels], shape (N,).
    """

    x: FloatArray
    y: FloatArray
    slope: FloatArray
    left: FloatArray
    right: FloatArray
    strength: FloatArray

    def __len__(self) -> int:
        return len(self.x)

    @property
    def length(self) -> FloatArray:
        """Extent along x [px]."""
        return self.right - self.left + 1.0

    def take(self, which: NDArray[np.bool_] | NDArray[np.intp]) -> Segments:
        """Return the chosen rows."""
        return Segments(
            x=self.x[which],
            y=self.y[which],
            slope=self.slope[which],
            left=self.left[which],
            right=self.right[which],
            strength=self.strength[which],
        )

    def y_at(self, x: FloatArray) -> FloatArray:
        """Return y of each segment's line at ``x`` [px]."""
        return self.y + self.slope * (x - self.x)


def find_segments(grey: ImageArray, *, dark: bool) -> Segments:
    """Find thin lines whose direction is within 20 degrees of the picture's rows.

    Parameters
    ----------
    grey : ndarray, shape (H, W), uint8
    dark
        Look for lines darker than their surroundings, else for lighter ones.

    Returns
    -------
    Segments
        In pixels of ``grey``; unordered.
    """
    response = _ridge_response(grey, dark=dark)
    # Sampled: a robust spread needs thousands of values, not millions.
    sample = response[::7, ::7]
    spread = 1.4826 * float(np.median(np.abs(sample - np.median(sample))))
    above, below = response[:-2], response[2:]
    centre = response[1:-1]
    peak = (centre > above) & (centre >= below) & (centre > NOISE_FACTOR * max(spread, 0.2))
    mask = np.zeros(response.shape, np.uint8)
    mask[1:-1] = peak
    count, labels = cv2.connectedComponents(mask, connectivity=8, ltype=cv2.CV_32S)
    rows, columns = np.nonzero(mask)
    return _fit_components(response, rows, columns, labels[rows, columns], count)


def _ridge_response(grey: ImageArray, *, dark: bool) -> NDArray[np.float32]:
    smooth = cv2.blur(grey.astype(np.float32), (SMOOTH_ALONG_PX, 1))
    smooth = cv2.GaussianBlur(smooth, (1, 5), sigmaX=0.1, sigmaY=SMOOTH_ACROSS_SIGMA_PX)
    second = cv2.filter2D(smooth, cv2.CV_32F, np.array([[1.0], [-2.0], [1.0]], np.float32))
    return np.asarray(second if dark else -second, np.float32)


def _fit_components(
    response: NDArray[np.float32],
    rows: NDArray[np.intp],
    columns: NDArray[np.intp],
    label: NDArray[np.int32],
    count: int,
) -> Segments:
    """Least-squares line through each connected ridge, by sums over its pixels."""
    upper = response[rows - 1, columns]
    centre = response[rows, columns]
    lower = response[rows + 1, columns]
    # Parabola through three rows: the ridge between pixels.
    bend = 2 * centre - upper - lower
    y = rows + 0.5 * (lower - upper) / np.maximum(bend, 1e-6)
    x = columns.astype(np.float64)

    def total(values: FloatArray | None = None) -> FloatArray:
        return np.bincount(label, values, minlength=count).astype(np.float64)

    left = np.full(count, np.inf)
    right = np.full(count, -np.inf)
    np.minimum.at(left, label, x)
    np.maximum.at(right, label, x)
    length = right - left + 1.0
    pixels = total()
    # Motion blur smears the two ends of a line to opposite sides; its middle stays straight.
    trim = np.minimum(END_TRIM_PX, length / 4)[label]
    middle = (x - left[label] >= trim) & (right[label] - x >= trim)
    label, x, y, centre = label[middle], x[middle], y[middle], centre[middle]
    n = np.maximum(total(), 1.0)
    mean_x, mean_y = total(x) / n, total(y) / n
    dx, dy = x - mean_x[label], y - mean_y[label]
    sxx, sxy, syy = total(dx * dx), total(dx * dy), total(dy * dy)
    slope = sxy / np.maximum(sxx, 1e-9)
    residual = np.sqrt(np.maximum(syy - slope * sxy, 0.0) / n)
    straight = (
        (pixels >= MIN_LENGTH_PX)
        & (length <= 1.3 * pixels)
        & (length >= 0.8 * pixels)
        & (np.abs(slope) < MAX_SLOPE)
        & (residual < 0.5)
    )
    straight[0] = False
    every = Segments(
        x=mean_x,
        y=mean_y,
        slope=slope,
        left=left,
        right=right,
        strength=total(centre.astype(np.float64)) / n,
    )
    return every.take(straight)
