"""How dark the line of a meniscus is, against what is above and below it.

The surface of a liquid that wets the glass rises at the wall and turns the sight away from
the board into the darker room, so that a level under gas shows as a line darker than both of
its sides, whatever the colours. The edge of a label or sleeve over the tube has no such line.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from limbsight.vision.light import to_linear
from limbsight.vision.tube_strip import TubeStrip

MIDDLE_BORES = 0.4
"""Half the width that is looked at: beyond, walls and rims are dark by themselves."""
REACH_BORES = 0.5
"""The line is looked for so far up and down: a meniscus is up to half a bore high."""
BESIDE_BORES = 0.45
"""Height of the stretches above and below that are compared with the line."""
ALONG_BORES, ACROSS_BORES = 0.06, 0.14
"""Noise is evened out over so many bores; the line is about as thick and goes across. Where it
rises steeply it is not followed so far across."""
LEAST_LIGHT = 0.01
"""Linear light of the darker side below which nothing can be darker."""
LEAST_COLUMNS = 5
AWAY_BORES, LEAST_AWAY = (-1.8, -1.5, -1.2, 1.2, 1.5, 1.8), 4
SURE_LINE, LINE_OVER_OTHERS = 0.4, 1.5
"""Where the axis' profile is lost in noise or in lines of the board, a line so dark, and
darker by half than any beside it, is a meniscus: nine in ten of 197 levels under gas in drawn
photos have such a line, and four levels of three photos that were left to a person, 0.1 mm off
at most."""
LINE_ABOVE = (-0.05, 0.3)
"""Bores by which it is above the apex: light is turned away from there up to where the liquid
meets the wall. It is -0.04 to 0.23 at 170 levels; where glare or a cable about a level was
fitted instead, 0.4 and more either way at five of six."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DarkLine:
    """What is seen at a level.

    Attributes
    ----------
    darkness
        By which share the line is darker than the darker of its sides; below zero where it is
        brighter. Median over the columns of the middle of the bore.
    shine
        Light of the darker side over that of the lighter one, likewise.
    above_bores
        How far above the row asked about the line is darkest, likewise.
    """

    darkness: float
    shine: float
    above_bores: float


def dark_line(
    linear: NDArray[np.float32],
    row: float,
    bore_rows: float,
    *,
    slanted_rows: float = 0.0,
    burnt: NDArray[np.bool_] | None = None,
) -> DarkLine | None:
    """Compare the line at a level with both of its sides.

    Parameters
    ----------
    linear : ndarray, shape (R, C, 3), float32
        Linear light in 0..1, the axis in the middle column.
    row
        Of the level.
    bore_rows
        Bore in rows.
    slanted_rows
        By how many rows a level in a tube that lies rises over ``MIDDLE_BORES``.
    burnt : ndarray, shape (C,), bool
        Columns that are burnt out and say nothing.

    Returns
    -------
    DarkLine or None
        None where too little is seen.
    """
    light = linear.mean(axis=2)
    axis = 0.5 * (light.shape[1] - 1)
    middle = np.abs(np.arange(light.shape[1]) - axis) <= MIDDLE_BORES * bore_rows
    if burnt is not None:
        middle &= ~burnt
    if middle.sum() < LEAST_COLUMNS:
        return None
    reach = REACH_BORES * bore_rows + slanted_rows
    first, last = round(row - reach), round(row + reach)
    beside = max(round(BESIDE_BORES * bore_rows), 1)
    if first - beside < 0 or last + beside >= len(light):
        return None
    rise = slanted_rows / (MIDDLE_BORES * bore_rows)
    across = min(ACROSS_BORES, ALONG_BORES / rise) if rise > 0 else ACROSS_BORES
    smooth = uniform_filter1d(light, max(int(across * bore_rows), 1), axis=1)
    smooth = uniform_filter1d(smooth, max(int(ALONG_BORES * bore_rows), 1), axis=0)
    smooth = smooth[:, middle]
    above = np.median(smooth[first - beside : first], axis=0)
    below = np.median(smooth[last + 1 : last + 1 + beside], axis=0)
    darker = np.minimum(above, below)
    if float(np.median(darker)) < LEAST_LIGHT:
        return None
    darkest = smooth[first : last + 1].argmin(axis=0)
    line = smooth[first + darkest, np.arange(smooth.shape[1])]
    lighter = np.maximum(np.maximum(above, below), LEAST_LIGHT)
    return DarkLine(
        darkness=float(np.median((darker - line) / np.maximum(darker, LEAST_LIGHT))),
        shine=float(np.median(darker / lighter)),
        above_bores=float(row - first - np.median(darkest)) / bore_rows,
    )


def line_in_strip(strip: TubeStrip, row: float) -> DarkLine | None:
    """Compare the line at a row of a straightened tube with both of its sides."""
    bgr, bore_rows = strip.bgr, strip.bore_columns
    reach = math.ceil((REACH_BORES + BESIDE_BORES) * bore_rows) + 2
    first = max(round(row) - reach, 0)
    return dark_line(to_linear(bgr[first : round(row) + reach + 1]), row - first, bore_rows)


def stands_out(line_at: Callable[[float], DarkLine | None]) -> bool:
    """Whether a dark line is one of a meniscus for sure: none along the tube is like it.

    Parameters
    ----------
    line_at
        What is seen so many bores below the level.
    """
    line = line_at(0.0)
    if line is None or not LINE_ABOVE[0] <= line.above_bores <= LINE_ABOVE[1]:
        return False
    others = [one.darkness for one in map(line_at, AWAY_BORES) if one is not None]
    if len(others) < LEAST_AWAY:
        return False
    return line.darkness >= max(SURE_LINE, LINE_OVER_OTHERS * max(others))
