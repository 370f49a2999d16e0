"""What a level is between, by the network of levels and by its dark line.

The network takes a boundary of two liquids for a level under gas at times; that is dark at its
rim as a rule, and a boundary of liquids hardly ever.
"""

from __future__ import annotations

from collections.abc import Callable
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from limbsight.knowledge import Knowledge
from limbsight.vision.dark_line import DarkLine
from limbsight.vision.level_net import TubeView

FloatArray = NDArray[np.float64]

SURE_KIND = 0.99
"""Least share of the likeliest kind in the probability of a level that is held against a file:
those that are right have 0.997 and more, those that are wrong 0.85 to 0.93, but for one (50
levels of sample photos and renders)."""
PLAIN_KIND = 0.95
"""The same where limbs are asked together and no file says otherwise: 191 of 208 photos of two
renderers reach it, all rightly; those that are taken for the wrong kind have 0.7 and less."""
LEAST_SHARE = 3e-3
"""What a kind keeps that the network rules out: its likeliest kinds have 0.997 and more."""
DARKNESS_BOUNDS = (0.05, 0.125, 0.2, 0.3, 0.44)
DARKNESS_COUNTS = ((0, 5, 4, 7, 25, 472), (55, 32, 10, 5, 5, 0), (17, 14, 11, 4, 4, 21))
"""How many levels under gas, under a liquid and of mercury have a line so dark (691 levels of
283 photos of two renderers)."""


class LevelKind(IntEnum):
    """What a level is between, by the number the network gives it."""

    UNDER_GAS = 1
    UNDER_LIQUID = 2
    MERCURY = 3


def stated_kind(known: Knowledge, limb: str, k: int) -> LevelKind:
    """The kind of the k-th level of a limb from the bottom, by what stands there."""
    if known.optics(limb, k).opaque_mirror:
        return LevelKind.MERCURY
    if known.is_between_liquids(limb, k):
        return LevelKind.UNDER_LIQUID
    return LevelKind.UNDER_GAS


def shares_of_kinds(
    view: TubeView, row: float, line_at: Callable[[float], DarkLine | None] | None = None
) -> FloatArray:
    """Share of each kind in the probability of a level at a row, shape (3,).

    Parameters
    ----------
    view
        What the network sees in the tube.
    line_at
        How dark the tube is at a row; without it the network alone speaks.
    """
    shares = view.kinds[view.nearest(row), 1:]
    if line_at is not None:
        shares = shares * _line_odds(line_at(row))
    return np.asarray(shares / max(float(shares.sum()), 1e-9))


def _line_odds(line: DarkLine | None) -> FloatArray:
    """How usual a line so dark is for each kind of level, shape (3,)."""
    if line is None:
        return np.ones(len(DARKNESS_COUNTS))
    # Half a level more in each, since what was never seen may be.
    counts = np.array(DARKNESS_COUNTS) + 0.5
    at = int(np.searchsorted(DARKNESS_BOUNDS, line.darkness))
    return np.asarray(counts[:, at] / counts.sum(axis=1))
