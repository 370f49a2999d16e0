"""How a lone column of graduations is turned, and how surely.

Two columns beside each other tell the direction of graduations by where they are. A lone one
has the slopes of its lines, of which short ones lie too flat and those that a tube cuts are
bent, and its spine: the line that they end on, to which they stand at right angles.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from limbsight.calib.camera import Frame
from limbsight.calib.graduated_plane import Plane, plane_of
from limbsight.calib.scale_map import ScaleMap, by_each
from limbsight.vision.comb import Comb

FloatArray = NDArray[np.float64]

SHORTEST_SLOPED_PX = 12.0
"""Slopes of shorter lines are left out: against the maps of 60 photos, where lines sloped by
0.04 or more, those of up to 8 px were 0.78 too flat (median), up to 10 px 0.45, 12 px 0.31,
16 px 0.20, 24 px 0.06. Stubs beside a tube turned the map of a lone column by that, and a
level was 2.5 mm off."""
FLAT_PX, FLAT_POWER = 7.2, 2.2
"""Share by which lines lie too flat, by length: (FLAT_PX / length) ** FLAT_POWER is within
0.04 of the medians above."""
SLOPE_NOISE_PX = 0.25
"""Scatter of slopes, in height over a line's length, that is noise: 0.09 to 0.22 px in seven
lone columns of clean lines. In five whose lines a tube cuts it was 0.7 to 0.9; figures 124 px
beside one of them seemed to stand at the next line, which they alone had to tell."""
UNCUT_SHARE, LONGEST_QUANTILE = 0.7, 0.95
"""Of the length of a lone column's longest lines, from which on others tell its direction:
what is shorter may have been cut by a tube, whose edge bends it. Stubs of 12 to 24 px sloped
by 0.03 where whole lines did by 0.13, and a level 90 px beside them was 1 mm off; levels
beside 15 metre sticks and rulers of whole lines are no farther off without their short
ones."""
SPINE_SCATTER, SPINE_POINTS = 3.0, 16
"""Ends of lines farther off their spine, in medians of the rest, are figures or knots; places
along it that stand for all."""
SQUARE_PRIOR, TILT_SHARE = 0.004, 0.03
"""Standard deviation of the angle of graduations to their spine about a right one [rad]: a
quarter of a degree of print (judgement, no source), and what a wrong focal length makes of a
plane turned by 7 degrees and tilted by 15, the product of both sines, as a share of its
relative uncertainty."""
SQUARE_PARTS = 100
"""The angle counts as so many witnesses of a tenth of its weight: it is no stray line, however
far off the fit begins."""


def found_length(comb: Comb) -> FloatArray:
    """Lengths of the lines in pixels of the picture in which their slopes were seen."""
    return comb.lines.length / comb.found_px


def shortest_sloped_px(length_px: FloatArray) -> float:
    """From which length on lines of a lone column tell its direction; others may be cut."""
    return max(
        SHORTEST_SLOPED_PX, UNCUT_SHARE * float(np.quantile(length_px, LONGEST_QUANTILE))
    )


def tells_direction(comb: Comb) -> NDArray[np.bool_]:
    """Which lines tell a lone column's direction: the long ones, or all where none is."""
    length = found_length(comb)
    sloped = length >= shortest_sloped_px(length)
    return np.asarray(sloped if sloped.any() else ~sloped)


def wrong_slopes(scale_map: ScaleMap, comb: Comb) -> tuple[FloatArray, FloatArray]:
    """By how much the lines of a column may slope wrongly together, (N,) each.

    Short ones lock to the rows of the picture, by a share of their slope. Those that a tube
    cuts end in its edge, where they bend: all may be wrong by as much as they scatter beyond
    their noise, either way.
    """
    lines = comb.lines
    by_x, by_y = scale_map.gradient(lines.x, lines.y)
    slope, length, sloped = -by_x / by_y, found_length(comb), tells_direction(comb)
    flat = np.minimum((FLAT_PX / length) ** FLAT_POWER, 1.0)
    scatter_px = 1.4826 * float(np.median((np.abs(lines.slope - slope) * length)[sloped]))
    excess_px = np.sqrt(max(scatter_px**2 - SLOPE_NOISE_PX**2, 0.0) / 3.0)
    together = excess_px / float(np.median(length[sloped]))
    return np.asarray(flat * slope), np.full(len(length), together)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spine:
    """Places on the line that the lines of a column end on [px], (SPINE_POINTS,) each."""

    x: FloatArray
    y: FloatArray


def points_of_spine(comb: Comb) -> Spine:
    """A curve through the ends of its lines, strays left aside."""
    ends, y = comb.spine_x, comb.lines.y
    middle, half = 0.5 * (y.max() + y.min()), 0.5 * (y.max() - y.min())
    at = (y - middle) / half
    kept = np.ones(len(y), dtype=bool)
    curve: FloatArray = np.zeros(3)
    for _ in range(2):
        # A lens bends it.
        curve = np.polyfit(at[kept], ends[kept], 2)
        off = np.abs(ends - np.polyval(curve, at))
        kept = off <= SPINE_SCATTER * max(float(np.median(off)), 1e-9)
    places = np.linspace(-1.0, 1.0, SPINE_POINTS)
    return Spine(x=np.asarray(np.polyval(curve, places)), y=middle + half * places)


def lean_of(spine: Spine, plane: Plane) -> float:
    """Return how far a spine moves across for each unit up the scale.

    Graduations stand at right angles to it. Their own slopes, short as they are, tell that
    less well than its length: on 16 photos of metre sticks lone columns leaned by up to 2.4
    diameters of a tube over their length, and the tubes with them by the same (within 0.06).
    """
    across, value = plane.from_pixel(spine.x, spine.y)
    up = value - value.mean()
    return float(up @ across / (up @ up))


def askew_of(p: FloatArray, spine: Spine, frame: Frame) -> tuple[float, FloatArray]:
    """The lean by parameters of a map, over its standard deviation; and derivatives, (7,)."""
    u = float(np.hypot(SQUARE_PRIOR, TILT_SHARE * frame.focal_relative_uncertainty))
    share = 1.0 / (u * float(np.sqrt(SQUARE_PARTS)))

    def lean(at: FloatArray) -> float:
        return lean_of(spine, plane_of(at, frame, frame.focal_px)) * share

    return lean(p[:6]), np.append(by_each(lean, p[:6]), 0.0)


def turning(scale_map: ScaleMap, spine: Spine, turns: FloatArray) -> ScaleMap:
    """A map that may be turned about a lone column by what its lines slope wrongly.

    Parameters
    ----------
    turns : ndarray, shape (K, 6)
        Changes of the parameters by one standard uncertainty each.
    """
    covariance = scale_map.covariance + turns.T @ turns
    x, y = float(spine.x.mean()), float(spine.y.mean())

    def slope(at: FloatArray) -> float:
        by_x, by_y = replace(scale_map, parameters=at).gradient(x, y)
        return -float(by_x / by_y)

    by_parameter = by_each(slope, scale_map.parameters)
    u_slope = float(np.sqrt(by_parameter @ covariance @ by_parameter))
    return replace(scale_map, covariance=covariance, u_slope=u_slope)
