"""How blurred a picture is across its level lines, from the edges that it has.

Graduations and menisci lie across the picture, so only blur up and down hides them: shake
along a level line leaves them sharp, and an edge that runs up and down says nothing. A step
blurred by a Gaussian of standard deviation b and smoothed by one of s has the greatest slope
A / sqrt(2 pi (b^2 + s^2)); the slopes under two smoothings give b, whatever the step A [1]_.
The sharpest edges count: others are soft by nature, or out of focus behind the instrument.

References
----------
.. [1] Zhuo and Sim, "Defocus map estimation from a single image", Pattern Recognition 44
   (2011) 1852-1858, equations 3 to 6.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float32]

SMOOTHING_PX = (2.0, 4.0)
"""The two smoothings: the first quiets the noise of single pixels, the second is far enough
from it for the ratio of slopes to tell, up to twice the second."""
MEASURED_UP_TO_PX = 6.0
"""Larger blurs are measured in a copy reduced by a factor of two, again and again."""
MOST_REDUCTIONS = 5
STEP_SHARE, NOISE_FACTOR = 0.25, 8.0
"""Steps count from this share of the contrast, and this many times the noise: less is what
JPEG compression leaves of blocks and rings."""
LEVEL_SHARE = 0.5
"""Edges count whose slope across is at most this share of that up and down."""
LEAST_EDGE_PX = 60
"""Pixels of edges needed to say anything: one short bar."""
SHARPEST = 0.1
"""Quantile of the edges' blurs that is the picture's."""
PICTURE_CONTRAST = (0.01, 0.99)
"""Quantiles of brightness whose distance is taken for the contrast of print at best."""
LINE_PX = 10.0
"""Length over which a finder averages a line: the shortest that shows its direction."""
FOUND_FACTOR = 5.0
"""Contrast of a line over its noise, averaged over its length, from which it is found."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sharpness:
    """Blur of the sharpest level edges [px, one standard deviation], noise and contrast."""

    blur_px: float
    noise: float
    contrast: float

    @property
    def least_pitch_px(self) -> float:
        """Least distance of lines that can still be told apart [px].

        A pattern of lines of period P keeps exp(-2 (pi b / P)^2) of its contrast under a blur
        of b (the Fourier transform of a Gaussian at 1 / P); it is lost where that falls below
        the noise left after averaging along a line.
        """
        lost = FOUND_FACTOR * self.noise / (np.sqrt(LINE_PX) * max(self.contrast, 1e-9))
        lost = float(np.clip(lost, 1e-3, 0.9))
        return float(np.pi * self.blur_px * np.sqrt(2.0 / -np.log(lost)))


def sharpness_of(grey: NDArray[np.uint8]) -> Sharpness | None:
    """Measure the blur up and down in a picture.

    Parameters
    ----------
    grey : ndarray, shape (H, W), uint8

    Returns
    -------
    Sharpness or None
        None where there is no edge to measure: a blank picture.
    """
    low, high = np.quantile(grey[::4, ::4], PICTURE_CONTRAST)
    noise = _noise(grey)
    least_step = max(STEP_SHARE * float(high - low), NOISE_FACTOR * noise)
    reduced = grey.astype(np.float32)
    for k in range(MOST_REDUCTIONS + 1):
        blurs = _edge_blurs(reduced, least_step)
        if len(blurs) >= max(LEAST_EDGE_PX / 2**k, 8):
            blur = float(np.quantile(blurs, SHARPEST))
            if blur <= MEASURED_UP_TO_PX or k == MOST_REDUCTIONS:
                return Sharpness(blur_px=blur * 2**k, noise=noise, contrast=float(high - low))
        if min(reduced.shape) < 32:
            break
        half = (reduced.shape[1] // 2, reduced.shape[0] // 2)
        reduced = np.asarray(cv2.resize(reduced, half, interpolation=cv2.INTER_AREA))
    return None


def _noise(grey: NDArray[np.uint8]) -> float:
    """Standard deviation of the noise, from differences that ramps and edges leave out."""
    part = grey.astype(np.float32)
    curved = part[1:-1] - 0.5 * (part[:-2] + part[2:])
    # Half of a grey level is the least that whole grey levels can show.
    return max(float(1.4826 * np.median(np.abs(curved)) / np.sqrt(1.5)), 0.3)


def _edge_blurs(grey: FloatArray, least_step: float) -> FloatArray:
    """Blur of every pixel on the crest of a level edge of some height [px]."""
    fine, coarse = (cv2.GaussianBlur(grey, (0, 0), s) for s in SMOOTHING_PX)
    slope = 0.5 * np.abs(fine[2:] - fine[:-2])[:, 1:-1]
    across = 0.5 * np.abs(fine[:, 2:] - fine[:, :-2])[1:-1]
    wide = 0.5 * np.abs(coarse[2:] - coarse[:-2])[:, 1:-1]
    crest = (slope[1:-1] >= slope[:-2]) & (slope[1:-1] > slope[2:])
    crest &= across[1:-1] < LEVEL_SHARE * slope[1:-1]
    steepness = slope[1:-1][crest]
    square = (steepness / np.maximum(wide[1:-1][crest], 1e-6)) ** 2
    s1, s2 = SMOOTHING_PX
    square = np.clip(square, 1.0 + 1e-3, (s2 / s1) ** 2)
    blur_square = (s2**2 - square * s1**2) / (square - 1.0)
    step = steepness * np.sqrt(2 * np.pi * (blur_square + s1**2))
    return np.asarray(np.sqrt(blur_square[step >= least_step]), np.float32)
