"""The unit printed above a scale's numbers, if there is one."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from limbsight.vision.numeral_columns import NumeralColumn, ScaleGeometry
from limbsight.vision.numeral_scores import MOST_LABELS, label_indices
from limbsight.vision.numeral_strings import (
    TONE_FLOOR,
    class_probabilities,
    cut_crops,
    string_probabilities,
)

UNITS = (
    "mm", "cm", "in", "inch", "mmHg", "cmHg", "inHg", "mmH20", "cmH20", "inH20", "mbar", "bar",
    "kPa", "hPa", "Pa", "psi",
)  # fmt: skip
SPELT = {"inch": "in", "mmH20": "mmH2O", "cmH20": "cmH2O", "inH20": "inH2O"}
"""Otherwise than they are named. The network's letter O counts as the figure 0."""
FIRST_HEIGHT, LAST_HEIGHT, HEIGHT_STEP = 0.9, 6.0, 0.3
"""Places searched above the last graduation, in figure heights."""
SIZES = (1.0, 0.7, 0.5)
"""Letters over figures in height: capitals are as tall, small letters two thirds, and units
are often set smaller than the figures (common practice, no source)."""
LEAST_INK = 0.25
"""Contrast of a place over that of the numbers, of one ink, below which it is bare board: a
unit of two letters fills a quarter of what a number of four figures does at least; contrast
goes with the root of that, and half is left to where letters are cut."""
UNIT_PROBABILITY = 0.5
LEAST_SIGHTINGS = 2
"""Neighbouring places see the same letters: one sighting alone is taken for dirt."""


def read_unit(
    grey: NDArray[np.uint8], geometry: ScaleGeometry, column: NumeralColumn
) -> str | None:
    """Read the unit above the top end of a scale.

    Parameters
    ----------
    grey : ndarray, shape (H, W) or (H, W, 3), uint8
        Upright picture, grey or BGR.
    geometry
        Where the graduations are.
    column
        The numbers; the unit is looked for above them and above the spine.

    Returns
    -------
    str or None
        One of ``UNITS`` as it is named; None if nothing is read surely. A unit
        that is part of another one seen (Pa of kPa) was cut off.
    """
    if grey.ndim == 3:
        grey = np.asarray(cv2.cvtColor(grey, cv2.COLOR_BGR2GRAY), dtype=np.uint8)
    heights = np.arange(FIRST_HEIGHT, LAST_HEIGHT, HEIGHT_STEP) * column.height_px
    index = geometry.uppermost + heights / geometry.pitch_px
    aside = float(column.place(index[:1], lying=False)[0][0])
    lateral = {0.0, round(aside / column.height_px) * column.height_px}
    crops = [
        cut_crops(grey, geometry, _moved(column, across), index, size)[0]
        for across in lateral
        for size in SIZES
    ]
    places = np.concatenate(crops)
    labels = label_indices(geometry, column, MOST_LABELS)
    numbers, _ = cut_crops(grey, geometry, column, labels)
    shown = places[_contrast(places) > LEAST_INK * np.median(_contrast(numbers))]
    if len(shown) < LEAST_SIGHTINGS:
        return None
    probability = string_probabilities(class_probabilities(shown), UNITS)
    sightings = (probability > UNIT_PROBABILITY).sum(axis=0)
    seen = [u for u, count in zip(UNITS, sightings, strict=True) if count >= LEAST_SIGHTINGS]
    whole = [u for u in seen if not any(u in other and u != other for other in seen)]
    return SPELT.get(whole[0], whole[0]) if len(whole) == 1 else None


def _contrast(crops: NDArray[np.float32]) -> NDArray[np.float32]:
    """Standard deviation of each crop before it was scaled [grey levels]."""
    share = crops.std(axis=(1, 2, 3))
    return np.asarray(TONE_FLOOR * share / np.maximum(1.0 - share, 1e-6), np.float32)


def _moved(column: NumeralColumn, across_px: float) -> NumeralColumn:
    """The column's letters at another place across, without drift."""
    return replace(
        column,
        across_px=across_px,
        across_slope_px=0.0,
        offset_px=0.0,
        offset_slope_px=0.0,
        width_px=2.5 * column.height_px,
    )
