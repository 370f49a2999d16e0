"""Light of sRGB-encoded pixels: linear, logarithmic, without its colours."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

LUMA_WEIGHTS = (0.299, 0.587, 0.114)
"""Of sRGB-encoded red, green and blue in the brightness that a JPEG keeps of every pixel
(Rec. ITU-T T.871, from memory; OpenCV's grey has the same)."""
LEAST_LIGHT = 1e-3
"""Of white, next to black: a grey level of 8 bits is that much there."""


def to_linear(bgr: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Undo the sRGB encoding, so that averages and fits act on light.

    Parameters
    ----------
    bgr : ndarray, shape (M, N[, C]), uint8
        sRGB-encoded values.

    Returns
    -------
    ndarray, same shape, float32 in 0..1

    Notes
    -----
    v / 12.92 up to 0.04045, ((v + 0.055) / 1.055)^2.4 above [1]_. What a phone's own tone
    curve adds on top is unknown and stays in.

    References
    ----------
    .. [1] IEC 61966-2-1:1999, Colour management - Default RGB colour space - sRGB, 5.2.
    """
    linear: NDArray[np.float32] = cv2.LUT(bgr, _SRGB_TO_LINEAR)
    return linear


def brightness_alone(linear: NDArray[np.float64]) -> NDArray[np.float64]:
    """Linear light without its colours, which a JPEG keeps of every second pixel.

    Parameters
    ----------
    linear : (..., 3) array
        Linear light, RGB.

    Returns
    -------
    (..., 3) array
        The same in all three.
    """
    light = np.maximum(linear, 0.0)
    encoded = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1.0 / 2.4) - 0.055)
    luma = _decoded(encoded @ np.array(LUMA_WEIGHTS))
    return np.repeat(luma[..., None], 3, axis=-1)


def to_log_light(bgr: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Natural logarithm of linear light, in which shade and exposure only add."""
    return np.asarray(np.log(np.maximum(to_linear(bgr), LEAST_LIGHT)))


def _srgb_to_linear_table() -> NDArray[np.float32]:
    return _decoded(np.arange(256) / 255.0).astype(np.float32)


def _decoded(encoded: NDArray[np.float64]) -> NDArray[np.float64]:
    """See `to_linear`."""
    return np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)


_SRGB_TO_LINEAR = _srgb_to_linear_table()
