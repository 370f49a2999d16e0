"""The axis of one tube, by three signs that fail in different ways.

- mirror: the lateral edges of glass and filling come in pairs about the axis. Reflections in
  glass and mercury are not symmetric, and pull this one.
- band: at a level the whole bore changes, and only the bore. A clear liquid hardly changes it,
  and glare or a clip near the level changes a part.
- line: the rim of the meniscus, a thin line from wall to wall. Opaque liquids may lack it.

The middle one of the three stands; how far the nearer of the others lies says how well it is
known.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from limbsight.vision.layers import Interface
from limbsight.vision.level_marks import lines_across, steps_across
from limbsight.vision.limbs import EDGE_CAP, block_medians, changing_edges
from limbsight.vision.tube_strip import TubeStrip

FloatArray = NDArray[np.float64]

REACH_WIDTHS = 0.25
"""Bands that score as limbs are within a quarter of a tube's width of one."""
STEP_WIDTHS = 0.01
MIRROR_WIDTHS = 0.6
"""Edges this far from the axis are compared: the tube and its shadow line."""
BLOCKS = 20
"""Stretches of a strip whose medians drop print, as many as a scale has numbers or more."""
FLANK_WIDTHS = 0.15
"""What lies beside the band: as wide as a wall of usual tubing."""
BAND_WIDTHS = 6
"""Widths tried for the band, from the bore to the tube: the wall magnifies the bore."""
BESIDE_WIDTHS = 0.7
"""From here outward a strip shows board."""
MIN_SIGNAL = 1.5
"""A level's own band shows when it changes the tube half as much again as the board beside;
what noise remains disagrees with the other signs."""
MIDDLE_WIDTHS = 0.4
LEAST_U_WIDTHS = 0.015
"""Standard uncertainty where signs agree, because what bends light bends it for all of them:
of 149 such limbs of sample photos and renders two thirds are within 0.009 widths, 95 % within
0.018, one is 0.15 off."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Axis:
    """Where the axis of a tube is.

    Attributes
    ----------
    shift_columns
        How far it lies to the right of the strip's middle.
    u_columns
        Standard uncertainty.
    """

    shift_columns: float
    u_columns: float
    contrast: float
    """How far the levels set the tube about the strip's middle off from the board beside [grey
    levels, summed over three colours]."""


def find_axis(strip: TubeStrip, interfaces: tuple[Interface, ...]) -> Axis:
    """Find the axis of a tube near the middle of its strip.

    Parameters
    ----------
    strip
        The tube.
    interfaces
        Its levels, as found about the present axis.

    Returns
    -------
    Axis
        With the mirror alone where levels do not tell, as uncertain as the search is wide.
    """
    width = strip.width_columns
    steps, lines = steps_across(strip, interfaces), lines_across(strip, interfaces)
    contrast = (
        float(_best_set_off(np.sum(steps, axis=0), strip, np.zeros(1))[0]) if steps else 0.0
    )
    shifts = np.arange(-REACH_WIDTHS, REACH_WIDTHS + STEP_WIDTHS / 2, STEP_WIDTHS) * width
    blocks = block_medians(strip.bgr, max(len(strip.bgr) // BLOCKS, 8))
    signs = [mirror_score(np.diff(blocks, axis=1), shifts, width)]
    for changes in (steps, lines):
        score = _band_score(changes, strip, shifts)
        if score is not None:
            signs.append(score)
    tops = [int(np.argmax(score)) for score in signs]
    # A score that still rises at the end of the reach has no axis within it.
    within = [top for top in tops if 0 < top < len(shifts) - 1]
    places = np.sort(shifts[within])
    if len(places) == 0:
        return Axis(
            shift_columns=0.0, u_columns=REACH_WIDTHS * width / np.sqrt(3), contrast=contrast
        )
    if len(places) == 1:
        return Axis(
            shift_columns=float(places[0]),
            u_columns=REACH_WIDTHS * width / np.sqrt(3),
            contrast=contrast,
        )
    middle = float(np.median(places))
    apart = min(b - a for a, b in pairwise(places))
    return Axis(
        shift_columns=middle,
        u_columns=float(np.hypot(apart / np.sqrt(2), LEAST_U_WIDTHS * width)),
        contrast=contrast,
    )


def mirror_score(edges: FloatArray, shifts: FloatArray, width_columns: float) -> FloatArray:
    """Score axes by the pairs of lateral edges about them.

    A mirror turns an edge round (left against minus right: coloured liquids); pairs of
    changing edges count whatever their sign (mercury). Each is scaled to its own range.

    Parameters
    ----------
    edges : ndarray, shape (B, C - 1, 3)
        Lateral differences of blocks of rows.
    shifts : ndarray, shape (S,)
        Of the axes to the right of the middle.
    """
    changing = changing_edges(edges)
    middle = 0.5 * (edges.shape[1] - 1)
    away = np.arange(0.5, MIRROR_WIDTHS * width_columns, 0.5)
    left = middle + shifts[:, None] - away
    right = middle + shifts[:, None] + away
    pairs = weaker_of_pairs(changing, left, right)
    capped = np.clip(edges, -EDGE_CAP, EDGE_CAP)
    last = edges.shape[1] - 1
    by_column = capped.transpose(1, 0, 2).reshape(last + 1, -1)
    product = (by_column @ by_column.T)[
        np.clip(np.round(left), 0, last).astype(np.intp),
        np.clip(np.round(right), 0, last).astype(np.intp),
    ]
    return _scaled(pairs.sum(axis=1)) + _scaled(-product.sum(axis=1))


def weaker_of_pairs(strength: FloatArray, left: FloatArray, right: FloatArray) -> FloatArray:
    """Strength of the weaker edge of each pair, at places between the columns."""
    columns = np.arange(len(strength))
    pair = (np.interp(places, columns, strength) for places in (left, right))
    return np.asarray(np.minimum(*pair))


def _band_score(
    changes: list[FloatArray], strip: TubeStrip, shifts: FloatArray
) -> FloatArray | None:
    """Score axes by how a band about them is set off from its flanks; None: not by noise."""
    total = np.zeros(len(shifts))
    told = False
    for change in changes:
        inside, beside = _contrast(strip, change)
        if inside < MIN_SIGNAL * max(beside, 1.0):
            continue
        told = True
        # Capped at its middle, the band has no heavy end where a reflection is.
        level = np.clip((change - beside) / (inside - beside), 0.0, 1.0)
        total += _best_set_off(level, strip, shifts)
    return total if told else None


def _contrast(strip: TubeStrip, change: FloatArray) -> tuple[float, float]:
    """Return the middle of a change inside the tube and of that beside it."""
    away = np.abs(np.arange(len(change)) - 0.5 * (len(change) - 1))
    return (
        float(np.median(change[away < MIDDLE_WIDTHS * strip.width_columns])),
        float(np.median(change[away > BESIDE_WIDTHS * strip.width_columns])),
    )


def _best_set_off(level: FloatArray, strip: TubeStrip, shifts: FloatArray) -> FloatArray:
    sums = np.concatenate([[0.0], np.cumsum(level)])
    ends = np.arange(len(sums)) - 0.5 - 0.5 * (len(level) - 1)
    flank = FLANK_WIDTHS * strip.width_columns

    def mean(left: FloatArray, right: FloatArray) -> FloatArray:
        part = np.interp(right, ends, sums) - np.interp(left, ends, sums)
        return np.asarray(part / (right - left))

    widths = np.linspace(strip.bore_columns, strip.width_columns, BAND_WIDTHS)[:, None]
    left, right = shifts - widths / 2, shifts + widths / 2
    beside = 0.5 * (mean(left - flank, left) + mean(right, right + flank))
    return np.asarray((mean(left, right) - beside).max(axis=0))


def _scaled(values: FloatArray) -> FloatArray:
    return np.asarray((values - values.min()) / max(float(np.ptp(values)), 1e-9))
