"""What stands before a tube and the board beside it: clips, caps, hands.

It changes the board beside the tube as sharply as the tube itself, and goes on across it in
much the same colour.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from limbsight.vision.layers import Interface
from limbsight.vision.quantiles import least_of, median_of_bytes, running_median
from limbsight.vision.row_sets import dilate, erode, runs_of
from limbsight.vision.tube_strip import BORE_COLUMNS, TubeStrip, colour_distance

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

HIDDEN_STEP = 24.0
"""Grey levels summed over three colours by which the surroundings of a tube must depart from
their usual colour: four times the shading over one numbered step on the sample photos."""
CLIP_GAP_WIDTHS = 0.3
"""Highlights and slots split the look of one clip; pieces closer than this are one."""
SIDE_REACHES = ((1.12, 1.5), (1.04, 1.16))
"""Where the board beside a tube is looked at, in outer radii: clips reach out by half a radius
or more, some by no more than a sixth."""
PRINT_WIDTHS = 0.1
"""Half the reach, in tube widths, of the median that removes graduations: a millimetre."""
TILT_WIDTHS = 0.25
"""The two ends of an edge across the tube differ in height by up to this many widths (15
degrees of tilt over one width)."""
COVER_EDGE_SHARE = 0.35
"""The light a filling throws on the board changes the board by up to a fifth of the step in
the bore, and not sharply; the edge of a cover changes all alike."""
SAME_COVER = 0.7
"""What covers the tube differs between bore and side by less than this share of its own
departure from the board (clips with a saddle: 0.4; a coloured filling: 2 and more)."""


def sides_of(strip: TubeStrip, reach: tuple[float, float]) -> FloatArray:
    """Colour of the board beside the tube, left and right, shape (2, R, 3)."""
    middle = strip.bgr.shape[1] / 2
    half = strip.width_columns / 2
    rows = 2 * max(3, int(PRINT_WIDTHS * strip.width_columns)) + 1
    sides = []
    for way in (-1, 1):
        near, far = middle + way * reach[0] * half, middle + way * reach[1] * half
        left, right = sorted((int(near), int(far)))
        columns = strip.bgr[:, left : max(right, left + 1)]
        side = median_of_bytes(columns, axis=1)
        # Graduations beside the tube are thin: a median along it leaves the board.
        sides.append(running_median(side, rows))
    return np.stack(sides)


def hidden_rows(strip: TubeStrip, colours: FloatArray, beside: FloatArray) -> BoolArray:
    """Rows in which something covers the tube and its surroundings on both sides.

    The light that a filling throws on the board changes the surroundings too; what covers the
    tube goes on across it in much the same colour.
    """
    bore = least_of(list(colours.swapaxes(0, 1)), BORE_COLUMNS // 2)
    gap = int(CLIP_GAP_WIDTHS * strip.width_columns)
    # A clip's rim is blurred and shadowed: widen by a twelfth of the tube's width.
    pad = max(2, int(strip.width_columns / 12))
    hidden = np.zeros(len(strip.bgr), bool)
    departure = colour_distance(beside, _shading(beside, strip.inside_picture))
    for sides, departures in zip(beside, departure, strict=True):
        across = colour_distance(sides, bore).max(axis=0)
        least, most = departures.min(axis=0), departures.max(axis=0)
        # One side may have been mistaken for shading by the parabola, not both.
        covered = (least > HIDDEN_STEP) | (most > 3 * HIDDEN_STEP)
        covered &= across < SAME_COVER * np.where(least > HIDDEN_STEP, least, most)
        closed = erode(dilate(covered, gap), gap)
        hidden |= _with_sharp_ends(closed, sides, strip.inside_picture, strip.width_columns)
    # The blurred end of a meniscus reaches over the wall for a row or two.
    for first, last in runs_of(hidden):
        if last - first + 1 < pad:
            hidden[first : last + 1] = False
    return dilate(hidden, pad)


def _with_sharp_ends(
    hidden: BoolArray, sides: FloatArray, inside: BoolArray, width: float
) -> BoolArray:
    """Keep the stretches that begin and end at once: light and shade fade in and out."""
    jumps = [_jump(side) for side in sides]
    kept = np.zeros_like(hidden)
    reach = max(3, int(TILT_WIDTHS * width))
    for first, last in runs_of(hidden):
        sharp = []
        for end in (first, last):
            low, high = max(end - reach, 0), min(end + reach, len(hidden) - 1)
            cut_off = not (inside[low] and inside[high])
            least = min(float(jump[low : high + 1].max()) for jump in jumps)
            sharp.append(cut_off or least > HIDDEN_STEP)
        if all(sharp):
            kept[first : last + 1] = True
    return kept


def _shading(sides: FloatArray, inside: BoolArray) -> FloatArray:
    """Smooth colours of the board along the tube, (..., R, 3): parabolas that ignore what
    covers it."""
    if np.count_nonzero(inside) < 3:
        return np.zeros_like(sides)
    colours = np.ascontiguousarray(sides.swapaxes(-1, -2))
    count = colours.shape[-1]
    powers = np.vander(np.linspace(-1.0, 1.0, count), 5, increasing=True)
    orders = np.arange(3)
    one_and_colours = np.insert(colours, 0, 1.0, axis=-2)
    shade = np.median(colours[..., inside], axis=-1, keepdims=True)
    for _ in range(7):
        away = np.abs(colours - shade).sum(axis=-2)
        weight = np.square(inside / (1.0 + (away / HIDDEN_STEP) ** 2))
        weighted = one_and_colours * weight[..., None, :]
        # One product for all sides and colours: many small ones take longer.
        sums = (weighted.reshape(-1, count) @ powers).reshape(*weighted.shape[:-1], 5)
        normal = sums[..., 0, orders[:, None] + orders]
        factors = np.linalg.solve(normal, sums[..., 1:, :3].swapaxes(-1, -2))
        shade = factors.swapaxes(-1, -2).reshape(-1, 3) @ powers[:, :3].T
        shade = shade.reshape(colours.shape)
    return np.asarray(shade.swapaxes(-1, -2))


def _jump(side: FloatArray) -> FloatArray:
    """Change of colour over four rows: an edge under an ordinary blur."""
    change = np.zeros(len(side))
    change[2:-2] = colour_distance(side[4:], side[:-4])
    return change


def cover_edge(
    strip: TubeStrip, sides: FloatArray, interfaces: tuple[Interface, ...]
) -> tuple[int, int] | None:
    """Find an interface that goes on across the board: the edge of something in front."""
    jumps = [_jump(side) for side in sides]
    reach = max(3, int(TILT_WIDTHS * strip.width_columns))
    for interface in interfaces:
        low, high = max(int(interface.row) - reach, 0), int(interface.row) + reach + 1
        least = min(float(jump[low:high].max()) for jump in jumps)
        if least > max(COVER_EDGE_SHARE * interface.step, HIDDEN_STEP):
            return low, high
    return None
