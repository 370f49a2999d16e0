"""Long lines looked for farther out than columns of graduations reach.

A column of lines is as wide as most of them are. Which are the long ones shows just beyond its
ends, unless something stands there: behind a tube, walls hide the ends of all lines, and only
the long ones come out again beside it, on either side.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from limbsight.vision.comb import Comb
from limbsight.vision.working import (
    LONG_SHARE,
    QUANTISED,
    contrast_of_lines,
    enlarged,
    overhang_places,
    with_every_line,
)

FloatArray = NDArray[np.float64]

FARTHEST = 4.0
"""Half-lengths of the usual lines from their middle: lines behind a tube are found over half
of its width or less, and long ones are twice as wide as the tube at most."""
PLACES_APART_PX, PLACES_TOGETHER = 2.0, 3
"""Contrast is the mean over so many places: a wall or a figure takes up less."""
LEAST_CONTRAST = 5.0
"""Of the long lines over the scatter of all; of noise it is 2."""
FIGURE_MARGIN = 0.5
"""Heights of figures that are passed over beside them: the next digit, badly boxed."""
UNDER, LEAST_UNDER = (0.3, 0.5, 0.7), 2
"""Where lines are looked for under a figure, in widths of its box, which is wider; and figures
that tell."""
ALONE = 0.25
"""Most of the long lines that may have another beside them: figures are as high as two lines
are apart, and more."""


def with_long_lines(
    grey: NDArray[np.uint8],
    factor: float,
    combs: tuple[Comb, ...],
    numbered_every: int,
    figures: Sequence[FloatArray],
) -> tuple[Comb, ...]:
    """Give columns the contrast of their long lines from where those stand out most.

    Parameters
    ----------
    grey : ndarray, shape (h, w), uint8
        Picture to look in, ``factor`` times smaller than the full one.
    combs
        Columns of graduations in pixels of the full picture.
    numbered_every
        Lines from one number to the next: as seldom at least lines are long.
    figures : sequence of ndarray, shape (4, 2)
        Outlines of printed numbers in ``grey``, whose strokes are no lines.

    Returns
    -------
    tuple of Comb
        With another ``overhang``, and a line at every index, where one is found that tells
        more.
    """
    share = LONG_SHARE / numbered_every
    return tuple(
        comb if comb.parts else _with_long_lines(grey, factor, comb, share, figures)
        for comb in combs
    )


def cut_at_figures(
    combs: tuple[Comb, ...], factor: float, figures: Sequence[FloatArray]
) -> tuple[Comb, ...]:
    """Cut lines off where figures begin beside them; parameters as for ``with_long_lines``."""
    boxes = [factor * box for box in figures]

    def cut(comb: Comb) -> Comb:
        lines = comb.lines
        # One line's middle lies off where a stroke lengthens it.
        slope, at_0 = np.polyfit(lines.y, 0.5 * (lines.left + lines.right), 1)
        middle = slope * lines.y + at_0
        nearest, farthest = _span(boxes, comb, middle)
        looked_at = overhang_places(comb)
        if nearest > 0:
            first = middle + nearest
            clear = np.all(looked_at < first)
            lines = replace(lines, right=np.clip(first, lines.left, lines.right))
        elif farthest < 0:
            first = middle + farthest
            clear = np.all(looked_at > first)
            lines = replace(lines, left=np.clip(first, lines.left, lines.right))
        else:
            return comb
        return replace(comb, lines=lines, overhang=comb.overhang if clear else None)

    return tuple(map(cut, combs))


def run_under(
    grey: NDArray[np.uint8],
    factor: float,
    comb: Comb,
    index: NDArray[np.int64],
    figures: Sequence[FloatArray],
) -> bool:
    """Whether lines run on under, or over, the figures that stand at them.

    Parameters
    ----------
    grey, factor, comb, figures
        As ``with_long_lines`` has them.
    index : ndarray, shape (K,)
        The graduation of each figure.
    """
    every = enlarged(with_every_line(comb), 1 / factor)
    rows = index - every.index[0]
    there = (rows >= 0) & (rows < len(every.index))
    if there.sum() < LEAST_UNDER:
        return False
    rows = rows[there]
    across = np.array(figures)[there][:, :, 0]
    left, width = across.min(axis=1), np.ptp(across, axis=1)

    def contrast_at(places: FloatArray) -> FloatArray:
        x = every.lines.x.copy()
        x[rows] = places
        return np.asarray(contrast_of_lines(grey, every, x)[rows])

    under = np.min([contrast_at(left + part * width) for part in UNDER], axis=0)
    own = np.maximum(contrast_at(every.lines.x[rows]), QUANTISED)
    return bool(np.median(under / own) >= 0.5)


def _with_long_lines(
    grey: NDArray[np.uint8],
    factor: float,
    comb: Comb,
    share: float,
    figures: Sequence[FloatArray],
) -> Comb:
    # The long lines may be just those that a column of short ones lacks.
    every = with_every_line(comb)
    found = [
        (_standing(contrast, share), contrast)
        for contrast in _places(grey, enlarged(every, 1 / factor), figures)
        if _stand_alone(contrast, every.index, share)
    ]
    if not found:
        return comb
    best, contrast = max(found, key=lambda one: one[0])
    before = 0.0 if comb.overhang is None else _standing(comb.overhang, share)
    return replace(every, overhang=contrast) if best > max(before, LEAST_CONTRAST) else comb


def _places(
    grey: NDArray[np.uint8], comb: Comb, figures: Sequence[FloatArray]
) -> Iterator[FloatArray]:
    """Contrast of the lines on both sides, ever farther out, figures passed over."""
    half = 0.5 * float(np.median(comb.lines.length))
    away = np.arange(half, FARTHEST * half, PLACES_APART_PX)
    middle = 0.5 * (comb.lines.left + comb.lines.right)
    nearest, farthest = _span(figures, comb, middle)
    for way in (-1.0, 1.0):
        contrasts = [contrast_of_lines(grey, comb, middle + way * d) for d in away]
        for k in range(len(away) - PLACES_TOGETHER + 1):
            ends = way * away[[k, k + PLACES_TOGETHER - 1]]
            if ends.max() < nearest or ends.min() > farthest:
                yield np.mean(contrasts[k : k + PLACES_TOGETHER], axis=0)


def _span(
    figures: Sequence[FloatArray], comb: Comb, middle: FloatArray
) -> tuple[float, float]:
    """From where to where figures stand off the middle of the lines; empty without any."""
    if not figures:
        return np.inf, -np.inf
    upward = np.argsort(comb.lines.y)
    boxes = np.array(figures)
    at = np.interp(boxes[:, :, 1].mean(axis=1), comb.lines.y[upward], middle[upward])
    off = boxes[:, :, 0] - at[:, None]
    beside = FIGURE_MARGIN * float(np.median(np.ptp(boxes[:, :, 1], axis=1)))
    return float(off.min()) - beside, float(off.max()) + beside


def _standing(contrast: FloatArray, share: float) -> float:
    """Contrast of the long lines over the scatter of all."""
    usual = float(np.median(contrast))
    scatter = 1.4826 * float(np.median(np.abs(contrast - usual)))
    return (float(np.quantile(contrast, 1 - share)) - usual) / max(scatter, QUANTISED)


def _stand_alone(contrast: FloatArray, index: NDArray[np.int64], share: float) -> bool:
    """Whether what stands out are single lines."""
    usual = float(np.median(contrast))
    long = index[contrast - usual > 0.5 * (float(np.quantile(contrast, 1 - share)) - usual)]
    return len(long) >= 2 and float(np.mean(np.diff(long) == 1)) <= ALONE
