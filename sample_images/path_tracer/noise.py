"""Smooth random pictures: grain, stains, clouds."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
from PIL import Image

from sample_images.generator.scene import FloatMap
from sample_images.path_tracer.draws import Rng


def resize(
    picture: npt.NDArray[Any],
    width: int,
    height: int,
    how: Image.Resampling = Image.Resampling.BICUBIC,
) -> FloatMap:
    """One channel at another size."""
    image = Image.fromarray(picture.astype(np.float32))
    return np.asarray(image.resize((width, height), how))


def fractal(
    rng: Rng,
    width: int,
    height: int,
    cell_px: float,
    octaves: int = 4,
    stretch: float = 1.0,
) -> FloatMap:
    """Sum of noises, each of half the size and half the strength of the one before.

    Parameters
    ----------
    cell_px : float, [px]
        Size of the largest blobs.
    stretch : float
        How much longer blobs are down than across.

    Returns
    -------
    ndarray, shape (height, width)
        Mean 0, standard deviation 1.
    """
    total = np.zeros((height, width), np.float32)
    for octave in range(octaves):
        across = max(cell_px / 2**octave, 1.0)
        down = max(across * stretch, 1.0)
        coarse = rng.standard_normal((int(height / down) + 4, int(width / across) + 4))
        fine = resize(
            coarse,
            max(width, int(coarse.shape[1] * across)),
            max(height, int(coarse.shape[0] * down)),
        )
        total += 0.5**octave * fine[:height, :width]
    return np.asarray((total - total.mean()) / (total.std() + 1e-6))
