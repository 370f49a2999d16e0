"""How likely a crop of the picture shows a given string of figures.

A small convolutional network (trained on drawn labels, ``training/train_numerals.py``)
gives the probability of each character, or none, for every second pixel column of a crop.
The probability of a whole string is the sum over all its alignments with the columns, the
forward recursion of connectionist temporal classification [1]_.

References
----------
.. [1] Graves et al., "Connectionist temporal classification", Proc. ICML 2006, 369-376,
   equations 5 to 8.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from pathlib import Path
from threading import Lock
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from limbsight.vision.numeral_columns import NumeralColumn, ScaleGeometry
from limbsight.vision.reducing import averaged

FloatArray = NDArray[np.float64]
AnyFloats = NDArray[np.floating[Any]]

CHARACTERS = "0123456789.abcghikmnprsHOP"
"""Class 0 of the network is blank; these follow."""
CROP_HEIGHT, CROP_WIDTH = 32, 96
FIGURE_HEIGHT = 17.0
"""Height of the figures in a crop; the training has 12 to 23 rows."""
TONE_FLOOR = 0.01 * 255.0
"""Added to the standard deviation of a crop, as in the training."""
BLANK_CERTAIN = 0.99
"""Repeats of columns this surely blank carry nothing and are dropped for speed."""
NEGLIGIBLE = 1e-5
"""A fifth of what a misread label is credited with anyway (numerals.MISREAD * CHANCE)."""
LEAST_PROBABILITY = 1e-5
"""Keeps one smeared column from ruling a string out."""
_LOCK = Lock()
"""The network holds its input: one thread at a time."""


@cache
def _network() -> cv2.dnn.Net:
    path = Path(__file__).parent / "numerals_net.onnx"
    return cv2.dnn.readNetFromONNX(str(path))


def cut_crops(
    grey: NDArray[np.uint8],
    geometry: ScaleGeometry,
    column: NumeralColumn,
    index: FloatArray,
    height_factor: float = 1.0,
    *,
    quarter_turns: int = 0,
) -> tuple[NDArray[np.float32], FloatArray]:
    """Cut the labels of a column out of the picture, as one reads them and of equal size.

    Parameters
    ----------
    grey : ndarray, shape (H, W), uint8
    geometry
        Where the scale is.
    column
        Where the numbers are.
    index : ndarray, shape (N,)
        Graduations of the labels; fractions reach places between.
    height_factor
        Assumed height of the figures over the one found.
    quarter_turns
        How the numbers are turned against the scale, counterclockwise: 0 if their top is
        where the index grows, 1 if they run along the scale upward, 2 if upside down.

    Returns
    -------
    crops : ndarray, shape (N, 1, 32, 96), float32
        Mean 0 and standard deviation 1 each.
    corners_px : ndarray, shape (N, 4, 2)
        Outline of each label in the picture.
    """
    lying = quarter_turns % 2 == 1
    across_px, offset_px = column.place(index, lying=lying)
    figures, width = column.height_px, column.width_px
    if lying:
        figures, width = column.lying_width_px, column.height_px
    centre, right = geometry.frame(index + offset_px / geometry.pitch_px)
    _, along, _ = geometry.at(index)
    up = along / geometry.pitch_px
    middle = centre + across_px[:, None] * right
    reading = (right, up, -right, -up)[quarter_turns]
    upright = (up, -right, -up, right)[quarter_turns]
    height = height_factor * figures
    pixel = height / FIGURE_HEIGHT
    stretch = max(1.0, (width / pixel + 12.0) / CROP_WIDTH)
    rows = (np.arange(CROP_HEIGHT) - (CROP_HEIGHT - 1) / 2) * pixel
    columns = (np.arange(CROP_WIDTH) - (CROP_WIDTH - 1) / 2) * pixel * stretch
    if lying:
        # Numbers along the scale follow each other: the next ones are no part of this one.
        to_next = 0.5 * column.numbered_every * geometry.pitch_px
        columns = np.clip(columns, -to_next, to_next)

    def place(down: AnyFloats, onward: AnyFloats) -> FloatArray:
        return np.asarray(
            middle[:, None, None]
            - down[:, None, None] * upright[:, None, None]
            + onward[:, None] * reading[:, None, None]
        )

    xy = place(rows, columns)
    source, reduction = _reduced(grey, pixel)
    x, y = ((xy[..., i].reshape(-1, CROP_WIDTH) + 0.5) / reduction - 0.5 for i in (0, 1))
    maps = x.astype(np.float32), y.astype(np.float32)
    drawn = cv2.remap(source, *maps, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    crops = drawn.reshape(len(index), 1, CROP_HEIGHT, CROP_WIDTH).astype(np.float32)
    crops -= crops.mean(axis=(2, 3), keepdims=True)
    crops /= crops.std(axis=(2, 3), keepdims=True) + TONE_FLOOR
    half = np.array([-1.0, 1.0])
    outline = place(half * 0.6 * height, half * (width / 2 + 0.2 * height))
    return crops, outline.reshape(-1, 4, 2)[:, [0, 1, 3, 2]]


def column_pitch_px(column: NumeralColumn, height_factor: float) -> float:
    """Distance in the picture of two columns of a crop of upright numbers."""
    pixel = height_factor * column.height_px / FIGURE_HEIGHT
    return float(pixel * max(1.0, (column.width_px / pixel + 12.0) / CROP_WIDTH))


def middle_of_text(probabilities: FloatArray) -> float:
    """Middle of the characters, in columns of a crop from its middle; (N, steps, classes).

    The median over the crops.
    """
    shown = 1.0 - probabilities[:, :, 0]
    steps = np.arange(shown.shape[1]) - (shown.shape[1] - 1) / 2
    middle = (shown * steps).sum(axis=1) / np.maximum(shown.sum(axis=1), 1e-3)
    return float(np.median(middle) * CROP_WIDTH / shown.shape[1])


def _reduced(grey: NDArray[np.uint8], pixel: float) -> tuple[NDArray[np.uint8], int]:
    """Picture averaged down so that sampling every ``pixel`` doesn't alias."""
    reduction = max(1, int(pixel / 1.2))
    if reduction == 1:
        return grey, 1
    return averaged(grey, reduction), reduction


def class_probabilities(crops: NDArray[np.float32]) -> FloatArray:
    """Probabilities of blank and of each character: (N, steps, 1 + len(CHARACTERS)).

    The letter O is counted with the figure 0, which many faces draw alike.
    """
    with _LOCK:
        net = _network()
        net.setInput(crops)
        output = net.forward()
    result = np.exp(output[:, :, 0]).transpose(0, 2, 1).astype(np.float64)
    letter, figure = 1 + CHARACTERS.index("O"), 1 + CHARACTERS.index("0")
    result[:, :, figure] += result[:, :, letter]
    result[:, :, letter] = 0.0
    return np.asarray(result)


def most_likely(probabilities: FloatArray) -> str:
    """Best character per step, repeats and blanks dropped: (steps, classes)."""
    steps = probabilities.argmax(axis=1)
    kept = steps[np.insert(steps[1:] != steps[:-1], 0, True)]
    return "".join(CHARACTERS[c - 1] for c in kept if c)


def string_probabilities(probabilities: FloatArray, strings: Sequence[str]) -> FloatArray:
    """Probability of each string for each crop.

    Parameters
    ----------
    probabilities : ndarray, shape (N, steps, classes)
    strings
        Made of ``CHARACTERS``; the empty string stands for a crop without text.

    Returns
    -------
    ndarray, shape (N, len(strings))
        0 where some character is seen less often than ``NEGLIGIBLE`` times, which bounds
        the probability from above.
    """
    kept = np.maximum(_without_idle_steps(probabilities), LEAST_PROBABILITY)
    seen = probabilities.sum(axis=1)
    result = np.zeros((len(kept), len(strings)))
    for which, codes in _coded(tuple(strings)):
        bound = seen[:, codes].min(axis=2, initial=1.0)
        crop, string = np.nonzero(bound >= NEGLIGIBLE)
        result[crop, which[string]] = _forward(kept[crop], codes[string])
    return result


@cache
def _coded(strings: tuple[str, ...]) -> list[tuple[NDArray[np.int64], NDArray[np.int64]]]:
    """Strings of each length: their places (S,) and classes (S, length)."""
    groups = []
    for length in sorted({len(string) for string in strings}):
        which = [i for i, string in enumerate(strings) if len(string) == length]
        codes = [[CHARACTERS.index(c) + 1 for c in strings[i]] for i in which]
        groups.append((np.array(which), np.array(codes, np.int64).reshape(len(which), length)))
    return groups


def _without_idle_steps(probabilities: FloatArray) -> FloatArray:
    """Drop steps that are blank like the one before; pad with blank to equal length."""
    blank = probabilities[:, :, 0] > BLANK_CERTAIN
    keep = ~blank
    keep[:, 1:] |= ~blank[:, :-1]
    longest = max(1, int(keep.sum(axis=1).max()))
    packed = np.zeros((len(keep), longest, probabilities.shape[2]))
    packed[:, :, 0] = 1.0
    for target, mask, source in zip(packed, keep, probabilities, strict=True):
        target[: mask.sum()] = source[mask]
    return packed


def _forward(probabilities: FloatArray, codes: NDArray[np.int64]) -> FloatArray:
    """Forward recursion for pairs of crop (P, steps, classes) and string (P, L): (P,)."""
    count, length = codes.shape
    states = np.zeros((count, 2 * length + 1), dtype=np.int64)
    states[:, 1::2] = codes
    may_skip = np.zeros(states.shape, dtype=np.float64)
    may_skip[:, 3::2] = codes[:, 1:] != codes[:, :-1]
    emitted = np.take_along_axis(probabilities, states[:, None, :], axis=2)
    alpha = np.zeros(states.shape)
    alpha[:, 0] = 1.0
    for step in range(probabilities.shape[1]):
        moved = alpha.copy()
        moved[:, 1:] += alpha[:, :-1]
        moved[:, 2:] += may_skip[:, 2:] * alpha[:, :-2]
        alpha = moved * emitted[:, step]
    return np.asarray(alpha[:, -2:].sum(axis=1) if length else alpha[:, 0])
