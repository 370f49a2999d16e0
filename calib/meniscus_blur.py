"""What a camera makes of a picture that changes evenly from ray to ray, row by row.

The point spread is Gaussian with the pixel's own width, plus a part of what a wider one
would lose (sharpening).  The picture is averaged exactly over bins of a third of a pixel; the
spread between bins is then the same for all rows, so one small matrix serves block after
block of them.  The variance that bins add is taken off the spread's.
A Gaussian sampled at distances ``h`` sums up to its integral within ``exp(-2 (pi s/h)^2)``
(Poisson's summation formula): 1e-7 for the sharpest allowed here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Index = NDArray[np.int64]

_BINS_PER_PX = 3
_BIN_VARIANCE = 1.0 / (12.0 * _BINS_PER_PX**2)
"""Best for steps anywhere in a bin: edges right to 0.5 % at a blur of half a pixel."""
_MARGIN_PX = 12.0
"""Bins beyond the rows on either side: five times a blur of two pixels and its sharpening."""
_PIXEL_VARIANCE = 1.0 / 12.0
_HALO_WIDTH_PX = 1.5
_FARTHEST = 4.5
"""Standard deviations; beyond lies 7e-6."""
_BLOCK_ROWS = 32


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """Optical state: logarithm of the blur [px], and sharpening."""

    log_blur: float
    halo: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Canvas:
    """Bins around ``count`` rows that begin at ``first_px``, above the apex supposed.

    They hold for shifts within some pixels of the one for which they were laid.
    """

    first_px: float
    count: int
    low_px: float
    bins: int

    def binned(self, bounds: Index, height_px: Array, value: Array) -> Array:
        """Average pictures over the bins, straight lines from ray to ray.

        Steps from ray to ray would move the derivatives of pictures, which are differences of
        two of them, by as much as they are.

        Parameters
        ----------
        bounds : (S + 1,) array of int
            Where the rays of each picture begin.
        height_px : (N,) array
            Of the rays, above the apex.
        value : (N, C) array
            Their brightness; the outermost go on forever.

        Returns
        -------
        (S, bins, C) array
        """
        # Laid end to end, all of them are one line, broken where the next one begins.
        length = self.bins / _BINS_PER_PX
        begin = length * np.arange(len(bounds) - 1)
        ray = np.clip(height_px - self.low_px, 0.0, length)
        ray += np.repeat(begin, np.diff(bounds))
        ray[bounds[:-1]] = begin
        apart = np.diff(ray)[:, None]
        rise = np.diff(value, axis=0)
        rise[bounds[1:-1] - 1] = 0.0
        area, bend = np.zeros_like(value), np.zeros_like(value)
        np.cumsum(apart * (value[:-1] + 0.5 * rise), axis=0, out=area[1:])
        np.divide(rise, 2.0 * apart, out=bend[:-1], where=apart > 0.0)
        edge = np.arange(len(begin) * self.bins + 1) / _BINS_PER_PX
        at = np.searchsorted(ray, edge, side="right") - 1
        beyond = (edge - ray[at])[:, None]
        below = area[at] + beyond * (value[at] + beyond * bend[at])
        return np.asarray(np.diff(below, axis=0) * _BINS_PER_PX).reshape(
            len(begin), self.bins, -1
        )

    def lens(self, shift_px: float, optics: Spread) -> Lens:
        """What spreads these bins over the rows."""
        variance = math.exp(2.0 * optics.log_blur) + _PIXEL_VARIANCE - _BIN_VARIANCE
        wider = variance + _HALO_WIDTH_PX**2
        reach = min(_FARTHEST * math.sqrt(wider), _MARGIN_PX)
        start = self.first_px - shift_px - self.low_px
        first = min(max(math.floor((start - reach) * _BINS_PER_PX), 0), self.bins)
        width = math.ceil((_BLOCK_ROWS - 1 + 2.0 * reach) * _BINS_PER_PX) + 1
        middles = (first + np.arange(width) + 0.5) / _BINS_PER_PX
        away = start + np.arange(_BLOCK_ROWS)[:, None] - middles
        squared = away**2
        return Lens(
            count=self.count,
            first=first,
            optics=optics,
            away=away,
            squared=squared,
            sharp=_Gaussian.at(squared, variance),
            wide=_Gaussian.at(squared, wider),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Gaussian:
    """Weights of bins in a block of rows, and the variance [px^2]."""

    variance: float
    weight: Array

    @classmethod
    def at(cls, squared: Array, variance: float) -> _Gaussian:
        weight = np.exp(squared * (-0.5 / variance))
        weight *= 1.0 / (_BINS_PER_PX * math.sqrt(2.0 * math.pi * variance))
        return cls(variance=variance, weight=weight)


@dataclass(frozen=True, slots=True, kw_only=True)
class Lens:
    """Shift and spread from bins to ``count`` rows, worked out for a first block of rows.

    Attributes
    ----------
    first
        The first bin that weighs in the block.
    away, squared : (block, B) arrays
        Distances of the rows from the bins, and their squares.
    sharp, wide
        The point spread, and the one of which sharpening takes a part away.
    """

    count: int
    first: int
    optics: Spread
    away: Array
    squared: Array
    sharp: _Gaussian
    wide: _Gaussian

    def blurred(self, columns: Array) -> Array:
        """Columns (bins, C) as seen in each row, (rows, C)."""
        halo = self.optics.halo
        kernel = (1.0 + halo) * self.sharp.weight
        kernel -= halo * self.wide.weight
        # What lies beyond the band of bins is like what lies at its ends.
        kernel /= kernel.sum(axis=1)[:, None]
        return np.asarray(self._spread(kernel[None], columns)[0])

    def derivatives(self, columns: Array) -> Array:
        """Derivatives of ``blurred`` by shift [px], logarithm of the blur, and sharpening,
        (3, rows, C)."""
        halo, sharp, wide = self.optics.halo, self.sharp, self.wide
        kernels = np.empty((3, *self.away.shape))
        by_shift, by_blur, by_halo = kernels
        np.subtract(sharp.weight, wide.weight, out=by_halo)
        near = sharp.weight * ((1.0 + halo) / sharp.variance)
        far = wide.weight * (halo / wide.variance)
        np.subtract(near, far, out=by_shift)
        by_shift *= self.away
        near *= self.squared / sharp.variance - 1.0
        far *= self.squared / wide.variance - 1.0
        np.subtract(near, far, out=by_blur)
        by_blur *= math.exp(2.0 * self.optics.log_blur)
        return self._spread(kernels, columns)

    def _spread(self, kernels: Array, columns: Array) -> Array:
        """Weigh bins by kernels (K, block, B) for a block of rows, the same for every block,
        (K, rows, C)."""
        kinds, _, width = kernels.shape
        block, c = _BLOCK_ROWS * _BINS_PER_PX, columns.shape[1]
        count = math.ceil(self.count / _BLOCK_ROWS)
        missing = self.first + block * (count - 1) + width - len(columns)
        if missing > 0:
            columns = np.concatenate([columns, np.repeat(columns[-1:], missing, axis=0)])
        flat = kernels.reshape(-1, width)
        out = np.empty((kinds, count, _BLOCK_ROWS, c))
        for number in range(count):
            first = self.first + block * number
            seen = flat @ columns[first : first + width]
            out[:, number] = seen.reshape(kinds, _BLOCK_ROWS, c)
        return out.reshape(kinds, -1, c)[:, : self.count]


def canvas(first_px: float, count: int, shift_px: float) -> Canvas:
    """Lay bins for rows one pixel apart, shifted by about ``shift_px``."""
    return Canvas(
        first_px=first_px,
        count=count,
        low_px=first_px - shift_px - _MARGIN_PX,
        bins=round(_BINS_PER_PX * (count - 1 + 2.0 * _MARGIN_PX)),
    )
