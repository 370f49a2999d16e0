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

from limbsight.vision.connected import components
from limbsight.vision.quantiles import median_of_row

FloatArray = NDArray[np.float64]
ImageArray = NDArray[np.uint8]

SMOOTH_ALONG_PX = 5
"""Mean over this many pixels along the line before the second derivative: half of the
shortest graduation worth reading (10 px), so its ends stay within 2 px."""
SMOOTH_ACROSS_SIGMA_PX = 0.8
"""Gaussian across the line; lines 3 px apart (the least that is read) keep 30 % of their
contrast. Lines thicker than 3.5 sigma answer by each of their edges."""
END_TRIM_PX = 2.0
"""Left out at each end of a line's fit: an ordinary motion blur smears so much (3 px), half of
it on either side of the end, and half a pixel."""
END_SHARE = 0.5
"""Answer at the end of a line over that on it: half of the smoothing window is on it."""
LEAST_GAP_PX = 2
"""Columns without an answer that end a line: noise takes single ones out."""
MIN_LENGTH_PX = 5
MAX_SLOPE = 0.36
"""Tangent of 20 degrees: 15 degrees of tilt and perspective, and 5 of margin."""
NOISE_FACTOR = 3.0
"""A ridge counts above this many robust standard deviations of the response; single pixels
pass often, five in a row in a line hardly ever."""
TILE_PX = 96
"""Side of a tile of which the noise is measured: a column of graduations fills less than half
of one, and hardly raises its median."""
MAX_RESIDUAL_PX = 0.5
"""A straight ridge scatters a tenth of a pixel; a half is a curve or a figure."""


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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ridges:
    """Pixels on the crests of thin lines, P of them, in connected components.

    Attributes
    ----------
    x, y : ndarray, shape (P,)
        Column of the pixel and height of the crest in it, between rows [px].
    strength : ndarray, shape (P,)
        Second derivative across the line [grey levels].
    label : ndarray, shape (P,)
        Component of the pixel, 0 to ``count`` - 1.
    left, right : ndarray, shape (count,)
        First and last column of each component [px].
    """

    x: FloatArray
    y: FloatArray
    strength: FloatArray
    label: NDArray[np.int64]
    count: int
    left: FloatArray
    right: FloatArray


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
    return segments_of(find_ridges(grey, dark=dark))


def find_ridges(
    grey: ImageArray,
    *,
    dark: bool,
    local: bool = False,
    sigma_px: float = SMOOTH_ACROSS_SIGMA_PX,
) -> Ridges:
    """Find the crests of thin lines that run along the picture's rows.

    Parameters
    ----------
    grey : ndarray, shape (H, W), uint8
    dark
        Look for lines darker than their surroundings, else for lighter ones.
    local
        Measure the noise tile by tile: a board is quiet though graph paper or a fabric
        fills the rest of the picture.
    sigma_px
        Of the Gaussian across the lines.
    """
    if len(grey) < 3:
        none = np.zeros(0)
        return ridges_of(x=none, y=none, strength=none, label=none.astype(np.int64), count=0)
    response = _ridge_response(grey, dark=dark, sigma_px=sigma_px)
    # Sampled: a robust spread needs thousands of values, not millions.
    spread = 1.4826 * _scatter(response[::7, ::7])
    least: float | NDArray[np.float32] = NOISE_FACTOR * max(spread, 0.2)
    if local:
        least = np.minimum(least, NOISE_FACTOR * _tile_spread(response))[1:-1]
    # What stands out is a small part of the picture: only there crests are looked for.
    width = response.shape[1]
    flat = width + np.flatnonzero(response[1:-1] > least)
    values = response.ravel()
    upper, crests, lower = values[flat - width], values[flat], values[flat + width]
    crest = (crests > upper) & (crests >= lower)
    flat, upper, crests, lower = flat[crest], upper[crest], crests[crest], lower[crest]
    rows, columns = np.divmod(flat, width)
    label, count = components(rows, columns, width)
    # Parabola through three rows: the ridge between pixels.
    bend = np.maximum(2 * crests - upper - lower, 1e-6)
    return ridges_of(
        x=columns.astype(np.float64),
        y=rows + 0.5 * (lower - upper).astype(np.float64) / bend,
        strength=crests.astype(np.float64),
        label=label,
        count=count,
    )


def ridges_of(
    x: FloatArray, y: FloatArray, strength: FloatArray, label: NDArray[np.int64], count: int
) -> Ridges:
    """Put crests together by their labels, 0 to ``count`` - 1."""
    left, right = _extent(x, label, count)
    return Ridges(
        x=x, y=y, strength=strength, label=label, count=count, left=left, right=right
    )


def _extent(
    x: FloatArray, label: NDArray[np.int64], count: int
) -> tuple[FloatArray, FloatArray]:
    """First and last column of each component; 0 where it is empty."""
    left, right = np.full(count, np.inf), np.full(count, -np.inf)
    np.minimum.at(left, label, x)
    np.maximum.at(right, label, x)
    empty = right < left
    left[empty] = right[empty] = 0.0
    return left, right


def _ridge_response(grey: ImageArray, *, dark: bool, sigma_px: float) -> NDArray[np.float32]:
    size = 2 * round(2.5 * sigma_px) + 1
    across = np.convolve(cv2.getGaussianKernel(size, sigma_px)[:, 0], [1.0, -2.0, 1.0])
    along = np.full(SMOOTH_ALONG_PX, 1.0 / SMOOTH_ALONG_PX)
    response = cv2.sepFilter2D(grey, cv2.CV_32F, along, across if dark else -across)
    return np.asarray(response, np.float32)


def _tile_spread(response: NDArray[np.float32]) -> NDArray[np.float32]:
    """Robust spread about every pixel, from tiles; shape of ``response``."""
    height, width = response.shape
    rows, columns = max(height // TILE_PX, 1), max(width // TILE_PX, 1)
    spread = np.empty((rows, columns), np.float32)
    for i, band in enumerate(np.array_split(response[:, ::3], rows)):
        for j, tile in enumerate(np.array_split(band[::3], columns, axis=1)):
            spread[i, j] = 1.4826 * _scatter(tile)
    # A tile as quiet as its quietest neighbour: the rim of a board shares tiles with others.
    spread = np.asarray(cv2.erode(np.maximum(spread, 0.2), np.ones((3, 3))), np.float32)
    return np.asarray(cv2.resize(spread, (width, height)), np.float32)


def _scatter(values: NDArray[np.float32]) -> float:
    """Median distance from the median."""
    row = values.ravel()
    return median_of_row(np.abs(row - np.float32(median_of_row(row))))


def _to_own_half(ridges: Ridges) -> Ridges:
    """Cut off where a ridge answers less than half as strongly as it does on average.

    In a picture of little noise ridges run on, faintly, by several pixels beyond the ends of
    their lines. Smoothing along a line leaves half of its answer at its end.
    """
    pixels = np.maximum(np.bincount(ridges.label, minlength=ridges.count), 1)
    mean = np.bincount(ridges.label, ridges.strength, minlength=ridges.count) / pixels
    kept = ridges.strength >= END_SHARE * mean[ridges.label]
    x, y, strength = ridges.x[kept], ridges.y[kept], ridges.strength[kept]
    label, count = _parted(x, ridges.label[kept], ridges.count)
    return ridges_of(x=x, y=y, strength=strength, label=label, count=count)


def _parted(
    x: FloatArray, label: NDArray[np.int64], count: int
) -> tuple[NDArray[np.int64], int]:
    """Give what stands beyond a gap of a component a label of its own.

    Lines behind a tube are seen beside it and through it: the wall bends and breaks them.
    """
    pixels = np.bincount(label, minlength=count)
    left, right = _extent(x, label, count)
    broken = np.flatnonzero((right - left >= pixels + LEAST_GAP_PX - 1)[label])
    if not len(broken):
        return label, count
    broken = broken[np.lexsort((x[broken], label[broken]))]
    begins = (np.diff(label[broken]) != 0) | (np.diff(x[broken]) > LEAST_GAP_PX)
    part = np.concatenate([[0], np.cumsum(begins)])
    parted = label.copy()
    parted[broken] = count + part
    return parted, count + int(part[-1]) + 1


def segments_of(ridges: Ridges) -> Segments:
    """Least-squares line through each connected ridge, by sums over its pixels."""
    ridges = _to_own_half(ridges)
    length = ridges.right - ridges.left + 1.0
    pixels = np.bincount(ridges.label, minlength=ridges.count)
    # Motion blur smears the two ends of a line to opposite sides; its middle stays straight.
    trim = np.minimum(END_TRIM_PX, length / 4)
    lines, residual = fit_lines(ridges, trim)
    straight = (
        (pixels >= MIN_LENGTH_PX)
        & (length <= 1.3 * pixels)
        & (length >= 0.8 * pixels)
        & (np.abs(lines.slope) < MAX_SLOPE)
        & (residual < MAX_RESIDUAL_PX)
        & (lines.strength > 0.0)  # nothing between its trimmed ends: no line was fitted
    )
    return lines.take(straight)


def fit_lines(ridges: Ridges, trim: FloatArray) -> tuple[Segments, FloatArray]:
    """Fit a line to every component.

    Parameters
    ----------
    trim : ndarray, shape (count,)
        What is left out of the fit at each end of a component [px].

    Returns
    -------
    lines : Segments
        One a component.
    residual : ndarray, shape (count,)
        Standard deviation of the crest about the line [px].
    """
    label, x, y, strength = ridges.label, ridges.x, ridges.y, ridges.strength
    start, end = ridges.left + trim, ridges.right - trim
    middle = (x >= start[label]) & (x <= end[label])
    label, x, y, strength = label[middle], x[middle], y[middle], strength[middle]

    def total(values: FloatArray) -> FloatArray:
        return np.asarray(np.bincount(label, values, minlength=ridges.count), np.float64)

    n = np.maximum(np.bincount(label, minlength=ridges.count), 1)
    # Sums about the middle of a component: near zero, so that little is lost to rounding.
    x0 = 0.5 * (ridges.left + ridges.right)
    y0 = np.zeros(ridges.count)
    y0[label] = y
    dx, dy = x - x0[label], y - y0[label]
    mean_x, mean_y = total(dx) / n, total(dy) / n
    sxx = total(dx * dx) - n * mean_x**2
    sxy = total(dx * dy) - n * mean_x * mean_y
    syy = total(dy * dy) - n * mean_y**2
    slope = sxy / np.maximum(sxx, 1e-9)
    residual = np.sqrt(np.maximum(syy - slope * sxy, 0.0) / n)
    lines = Segments(
        x=x0 + mean_x,
        y=y0 + mean_y,
        slope=slope,
        left=ridges.left,
        right=ridges.right,
        strength=total(strength) / n,
    )
    return lines, residual
