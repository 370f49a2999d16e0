"""Which way scales run in a picture, whatever the angle at which it was taken.

Three neighbouring graduations are parallel, equally far apart and end on one line. Thin lines
of any direction are looked for, and every line that has two such neighbours votes for the
direction across it. In 140 sample photos and renders of boards on wood, brushed metal,
perforated and tiled walls nothing else casts a tenth of the votes of the scale.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

FloatArray = NDArray[np.float64]

SMOOTH_SIGMA_PX = 1.0
"""Before the second derivatives, the same in all directions; lines 4 px apart keep a third of
their contrast."""
NOISE_FACTOR = 3.0
FLAT_RESPONSE = 0.5
"""A ridge counts above this many robust standard deviations of the response, and above this
many grey levels in a picture without noise."""
MAX_CROSS_BEND = 0.5
"""Bend along a ridge over that across it: more at crossings, corners and specks."""
JOINT_RAD = float(np.radians(40.0))
"""Half a right angle, less the noise of a direction: neighbouring pixels of one ridge differ
by less, some of those where a graduation meets the line along its scale by more."""
MIN_PIXELS, MAX_LENGTH_PX = 6, 150.0
MAX_WIDTH_PX = 0.7
"""Standard deviation of a ridge's pixels about its line; whole pixels give 0.3."""
NEIGHBOURS = 16
"""Neighbours looked at, so that the strokes of a numeral do not hide the next graduation."""
PARALLEL_RAD = float(np.radians(8.0))
"""Direction of a line of six pixels errs by 5 degrees."""
UNEVEN_SHARE, UNEVEN_PX = 0.12, 0.7
"""How unequal the two distances may be: positions of short lines err by a third of a pixel."""
MIN_DISTANCE_PX = 2.0
END_TOLERANCE_PX = 2.0
BIN_RAD = float(np.radians(3.0))
APART_BINS = 5
"""Two directions closer than this are one scale seen in perspective."""
MIN_VOTES = 8
"""Wood grain, brickwork and print cast up to a few chance votes for any one direction."""
MIN_SHARE = 0.1
"""Votes of a further direction over those of the first."""
MOST_DIRECTIONS = 3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Lines:
    """Thin straight lines: middle [px], direction [rad from x towards y], length [px]."""

    x: FloatArray
    y: FloatArray
    direction: FloatArray
    length: FloatArray


def scale_directions(grey: NDArray[np.uint8]) -> tuple[float, ...]:
    """Estimate along which directions the graduations of scales follow each other.

    Parameters
    ----------
    grey : ndarray, shape (H, W), uint8

    Returns
    -------
    tuple of float, [rad]
        From the picture's upward direction towards the right, above -pi/2 and up to pi/2:
        the upper end of the scale is meant. Most votes first; empty if nothing is seen.
    """
    votes = np.concatenate([_votes(_find_lines(grey, dark=dark)) for dark in (True, False)])
    # Across a line of direction t from x towards y the scale rises at t, from the vertical.
    angle = (votes + np.pi / 2) % np.pi - np.pi / 2
    bins = round(np.pi / BIN_RAD)
    which = ((angle + np.pi / 2) / BIN_RAD).astype(int) % bins
    count = np.bincount(which, minlength=bins)
    near = count + np.roll(count, 1) + np.roll(count, -1)
    found: list[float] = []
    most = int(near.max())
    while len(found) < MOST_DIRECTIONS and near.max() >= max(MIN_VOTES, MIN_SHARE * most):
        peak = int(np.argmax(near))
        off = (which - peak + bins // 2) % bins - bins // 2
        middle = (peak + 0.5) * BIN_RAD - np.pi / 2
        rest = (angle[np.abs(off) <= 1] - middle + np.pi / 2) % np.pi - np.pi / 2
        found.append(_halved(middle + float(np.mean(rest))))
        near[(peak + np.arange(-APART_BINS, APART_BINS + 1)) % bins] = 0
    return tuple(found)


def _halved(angle: float) -> float:
    """Return the same line's angle above -pi/2 and up to pi/2."""
    return float(np.pi / 2 - (np.pi / 2 - angle) % np.pi)


def _find_lines(grey: NDArray[np.uint8], *, dark: bool) -> _Lines:
    rows, columns = _without_joints(grey.shape, *_ridge_pixels(grey, dark=dark))
    mask = np.zeros(grey.shape, np.uint8)
    mask[rows, columns] = 1
    count, labels = cv2.connectedComponents(mask, connectivity=8, ltype=cv2.CV_32S)
    label = labels[rows, columns]

    def mean(values: NDArray[Any]) -> FloatArray:
        return np.asarray(np.bincount(label, values, minlength=count) / pixels)

    pixels = np.maximum(np.bincount(label, minlength=count), 1)
    x, y = mean(columns), mean(rows)
    dx, dy = columns - x[label], rows - y[label]
    xx, yy, xy = mean(dx * dx), mean(dy * dy), mean(dx * dy)
    half, spread = 0.5 * (xx + yy), np.hypot(0.5 * (xx - yy), xy)
    # A uniform line of length l has variance l^2 / 12 along itself.
    length = np.sqrt(12 * (half + spread)) + 1.0
    width = np.sqrt(np.maximum(half - spread, 0.0))
    good = (pixels >= MIN_PIXELS) & (length <= MAX_LENGTH_PX) & (width <= MAX_WIDTH_PX)
    good[0] = False
    return _Lines(
        x=x[good],
        y=y[good],
        direction=0.5 * np.arctan2(2 * xy, xx - yy)[good],
        length=length[good],
    )


def _without_joints(
    shape: tuple[int, ...],
    rows: NDArray[np.intp],
    columns: NDArray[np.intp],
    across: FloatArray,
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Leave out ridge pixels next to one of another direction: lines that meet come apart."""
    turn = np.zeros(shape, np.complex64)
    turn[rows, columns] = np.exp(2j * across)
    own = turn[rows, columns].conj()
    joint = np.zeros(len(rows), bool)
    for down in (-1, 0, 1):
        for right in (-1, 0, 1):
            beside = turn[rows + down, columns + right]
            joint |= (beside != 0) & ((own * beside).real < np.cos(2 * JOINT_RAD))
    return rows[~joint], columns[~joint]


def _ridge_pixels(
    grey: NDArray[np.uint8], *, dark: bool
) -> tuple[NDArray[np.intp], NDArray[np.intp], FloatArray]:
    """Rows, columns and directions [rad] where the brightness bends most, across one."""
    smooth = cv2.GaussianBlur(grey.astype(np.float32), (0, 0), SMOOTH_SIGMA_PX)
    second = np.array([[1.0, -2.0, 1.0]], np.float32) * (1.0 if dark else -1.0)
    mixed = np.array([[1, 0, -1], [0, 0, 0], [-1, 0, 1]], np.float32)
    xx = cv2.filter2D(smooth, cv2.CV_32F, second)
    yy = cv2.filter2D(smooth, cv2.CV_32F, second.T)
    xy = cv2.filter2D(smooth, cv2.CV_32F, mixed * (0.25 if dark else -0.25))
    mean, difference = 0.5 * (xx + yy), 0.5 * (xx - yy)
    radius = cv2.magnitude(difference, xy)
    most, least = mean + radius, mean - radius
    sample = most[::7, ::7]
    typical = float(np.median(sample))
    noise = 1.4826 * float(np.median(np.abs(sample - typical)))
    bound = max(typical + NOISE_FACTOR * noise, FLAT_RESPONSE)
    thin = (most > bound) & (np.abs(least) < MAX_CROSS_BEND * most)
    thin[[0, -1]] = False
    thin[:, [0, -1]] = False
    rows, columns = np.nonzero(thin)
    across = 0.5 * np.arctan2(xy[rows, columns], difference[rows, columns])
    # One of the eight neighbours: 1.2 cos rounds to 1 up to 65 degrees, 1.2 sin from 25.
    step_x = np.round(1.2 * np.cos(across)).astype(np.intp)
    step_y = np.round(1.2 * np.sin(across)).astype(np.intp)
    own = most[rows, columns]
    peak = (own >= most[rows + step_y, columns + step_x]) & (
        own > most[rows - step_y, columns - step_x]
    )
    return rows[peak], columns[peak], across[peak]


def _votes(lines: _Lines) -> FloatArray:
    """Directions of the lines that have a like neighbour on each side, equally far."""
    count = len(lines.x)
    if count <= NEIGHBOURS:
        return np.zeros(0)
    points = np.stack([lines.x, lines.y], axis=1)
    near = cKDTree(points).query(points, k=NEIGHBOURS + 1)[1][:, 1:]
    cos, sin = np.cos(lines.direction)[:, None], np.sin(lines.direction)[:, None]
    dx, dy = lines.x[near] - lines.x[:, None], lines.y[near] - lines.y[:, None]
    along, across = dx * cos + dy * sin, dy * cos - dx * sin
    turn = lines.direction[near] - lines.direction[:, None]
    turn = np.abs((turn + np.pi / 2) % np.pi - np.pi / 2)
    # Beside each other: with an end in common, along is half the difference of the lengths.
    beside = np.abs(along) < (
        0.5 * np.abs(lines.length[near] - lines.length[:, None])
        + 0.2 * np.abs(across)
        + END_TOLERANCE_PX
    )
    like = (turn < PARALLEL_RAD) & (np.abs(across) > MIN_DISTANCE_PX) & beside
    above, far_above = _nearest(like & (across > 0), across)
    below, far_below = _nearest(like & (across < 0), -across)
    both = np.isfinite(far_above) & np.isfinite(far_below)
    at = np.flatnonzero(both)
    one, two = far_above[both], far_below[both]
    even = np.abs(one - two) < np.maximum(UNEVEN_SHARE * 0.5 * (one + two), UNEVEN_PX)
    ends = np.full(len(at), np.inf)
    for side in (-0.5, 0.5):
        others = [
            along[at, k[both]] + side * lines.length[near[at, k[both]]] for k in (above, below)
        ]
        off = 0.5 * (others[0] + others[1]) - side * lines.length[at]
        ends = np.minimum(ends, np.abs(off))
    return np.asarray(lines.direction[at[even & (ends < END_TOLERANCE_PX)]])


def _nearest(
    allowed: NDArray[np.bool_], distance: FloatArray
) -> tuple[NDArray[np.intp], FloatArray]:
    """For each row the allowed neighbour at the least distance, and that distance."""
    far = np.where(allowed, distance, np.inf)
    which = np.argmin(far, axis=1)
    return which, far[np.arange(len(far)), which]
