"""Where the filling of one tube changes: interfaces, and what hides them.

The tube is handed in as an upright strip centred on its axis. A level changes most of the
bore at one height and lasts on both sides; a reflection changes a few columns; a clip, a cap
or a hand changes the picture outside of the tube as well, and a clip leaves the same filling
above and below it. So:

1. for each row the step of the colour between a window above and one below, in several
   columns of the bore, of which a low quantile is taken;
2. rows whose surroundings depart from the board are set aside as hidden;
3. of all peaks of the step, the set is chosen that leaves the fillings between them most
   alike.

Rows count downward; row 0 is the top of the strip.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations, pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter1d, uniform_filter1d

from limbsight.vision.quantiles import (
    least_of,
    median_of_bytes,
    quantile_of_few,
    running_median,
)

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

BORE_COLUMNS = 7
"""Groups of columns across the bore; enough for a third of them to be outvoted."""
BORE_SHARE = 0.84
"""Part of the bore's width that is used: the rims carry refraction of the wall."""
STEP_QUANTILE = 0.35
"""A step must show in all but a third of the bore."""
WINDOW_BORES = 0.8
GAP_BORES = 0.35
"""A meniscus is up to 0.7 bore high (contact angle 0, narrow tube): windows leave it out."""
LINE_BORES = 0.1
"""Height of the rim of a meniscus seen level; higher ones step as well."""
MIN_WINDOW_ROWS = 6
NOISE_FACTOR = 6.0
"""A peak counts at this many times the median step of the tube, which is noise and shading."""
MIN_STEP = 10.0
"""Grey levels summed over three colours: the least that eye and fit can use; JPEG blocks and
shading leave 3 to 5."""
MAX_PEAKS = 9
HIDDEN_STEP = 24.0
"""Grey levels summed over three colours by which the surroundings of a tube must depart from
their usual colour: four times the shading over one numbered step on the sample photos."""
CLIP_GAP_WIDTHS = 0.3
"""Highlights and slots split the look of one clip; pieces closer than this are one."""
SIDE_REACHES = ((1.12, 1.5), (1.04, 1.16))
"""Where the board beside a tube is looked at, in outer radii: clips reach out by half a radius
or more, some by no more than a sixth."""
STEP_EXPONENT = 0.5
"""Sets of interfaces compare by what they leave unlike, times this power of how much fainter
than the clearest step their faintest is: twice the step outweighs 40 % of unlikeness."""
PLATEAU_SHARE = 0.9
"""Rows whose step is this near to the peak's belong to its plateau."""
MENISCUS_BORES = 0.5
"""The dark rim of a meniscus is at most half a bore high; clips are higher."""
BAND_WIDTHS = 1.5
BAND_LIKENESS = 0.2
"""Fillings above and below a clip differ by its shadow only, a tenth of the clip's own step;
gas and mercury above and below a coloured plug by a third or more."""
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
SAME_FILLING = 0.7
"""Fillings on both sides of a hidden stretch count as one when they differ by less than this
share of the difference across the weakest interface chosen: a level hidden there would leave
a weaker, false one as the choice. Shadows of clips reach 0.6 of a weak (clear) step."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TubeStrip:
    """One tube, rectified.

    Attributes
    ----------
    bgr : ndarray, shape (R, C, 3), uint8
        Axis in the middle column.
    bore_columns, width_columns
        Inside and outside width of the tube in columns.
    inside_picture : ndarray, shape (R,), bool
        Rows that lie within the picture over the whole width of the tube.
    lined
        Whether graduations run behind the tube (taken out of ``bgr`` where it shows them).
    """

    bgr: NDArray[np.uint8]
    bore_columns: float
    width_columns: float
    inside_picture: BoolArray
    lined: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Interface:
    """A change of filling.

    Attributes
    ----------
    row
        Height of the strongest step.
    step
        Colour difference across it [grey levels, summed over three colours].
    apex_row
        Where the level network sees the apex of its meniscus; None where it does not.
    """

    row: float
    step: float
    apex_row: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Layers:
    """What one tube holds.

    Attributes
    ----------
    interfaces
        Bottom to top.
    hidden
        Stretches of rows (first, last) covered by something in front of the tube.
    hidden_change
        The hidden stretch that has different fillings above and below, or None.
    rival
        An interface that was left out though it is nearly as clear, or None.
    visible
        First and last row between the cap and the block, as far as they were seen.
    doubted
        Another opinion finds one of the interfaces unlikely, or sees one more.
    unexplained
        Departure from one colour for each filling, over that from one colour for all.
    """

    interfaces: tuple[Interface, ...]
    hidden: tuple[tuple[int, int], ...]
    hidden_change: tuple[int, int] | None
    rival: Interface | None
    visible: tuple[int, int]
    doubted: bool = False
    unexplained: float = 1.0


def find_layers(strip: TubeStrip, count: int, rows: tuple[int, int]) -> Layers:
    """Split a tube into fillings.

    Parameters
    ----------
    strip
    count
        Number of interfaces the instrument has in this limb.
    rows
        First and last row in which an interface may lie (the range of the scale and a
        margin).

    Returns
    -------
    Layers
        With fewer than ``count`` interfaces where no more were seen.
    """
    colours = _bore_colours(strip)
    beside = np.stack([_sides(strip, reach) for reach in SIDE_REACHES])
    hidden = _hidden_rows(strip, colours, beside)
    visible = _visible_range(strip, hidden, rows)
    seen = _carried_over(colours, hidden)
    lasting, line = _step(seen, strip), _line(seen, strip)
    _, gap = window_rows(strip)
    step = lasting + maximum_filter1d(line, 2 * gap + 1)
    peaks = _peaks(step, strip, hidden, visible, usual=lasting + line)
    usable = ~hidden & strip.inside_picture
    usable[: visible[0]] = False
    usable[visible[1] + 1 :] = False
    bands = _bands(colours, usable, sorted(peaks), step, strip)
    for first, last in bands:
        usable[first : last + 1] = False
        hidden[first : last + 1] = True
    covered = {row for band in bands for row in band}
    peaks = [_heart(row, sorted(peaks), colours, strip) for row in peaks if row not in covered]
    peaks = list(dict.fromkeys(peaks))
    noise = _noise(colours, usable, gap)
    chosen, rival = _choose(colours, usable, peaks, step, count, noise)
    stretches = _stretches(hidden, visible)
    changed = _hidden_change(colours, usable, chosen, stretches, strip)
    interfaces = tuple(
        Interface(row=_row_of(p, lasting, line, gap), step=float(step[p]))
        for p in sorted(chosen, reverse=True)
    )
    changed = changed or _cover_edge(strip, beside[0], interfaces)
    return Layers(
        interfaces=interfaces,
        hidden=stretches,
        hidden_change=changed,
        rival=rival,
        visible=visible,
        unexplained=_unlikeness(colours, usable, tuple(sorted(chosen)))
        / max(_unlikeness(colours, usable, ()), 1e-9),
    )


def _bore_colours(strip: TubeStrip) -> FloatArray:
    """Mean colour of each group of columns across the bore, shape (R, BORE_COLUMNS, 3)."""
    middle = strip.bgr.shape[1] / 2
    half = 0.5 * BORE_SHARE * strip.bore_columns
    edges = np.linspace(middle - half, middle + half, BORE_COLUMNS + 1).astype(int)
    first = edges[0]
    columns = np.ascontiguousarray(strip.bgr[:, first : edges[-1] + 1].swapaxes(0, 1))
    groups = [columns[a : max(b, a + 1)].mean(axis=0) for a, b in pairwise(edges - first)]
    return np.stack(groups, axis=1)


def window_rows(strip: TubeStrip) -> tuple[int, int]:
    """Return the height of the windows that are compared and the gap about the interface."""
    height = max(MIN_WINDOW_ROWS, int(WINDOW_BORES * strip.bore_columns))
    return height, int(GAP_BORES * strip.bore_columns)


def _step(colours: FloatArray, strip: TubeStrip) -> FloatArray:
    """Step of the colour across each row, in all but a third of the bore."""
    height, gap = window_rows(strip)
    rows = len(colours)
    step = np.zeros(rows)
    reach = gap + height
    if rows <= 2 * reach:
        return step
    sums = np.zeros((rows + 1, *colours.shape[1:]))
    np.cumsum(colours, axis=0, out=sums[1:])
    means = (sums[height:] - sums[:-height]) / height
    between = height + 2 * gap
    away = _colour_distance(means[: -between - 1], means[between:-1])
    step[reach : rows - reach] = quantile_of_few(away, STEP_QUANTILE, axis=1)
    return step


def _carried_over(colours: FloatArray, hidden: BoolArray) -> FloatArray:
    """Give the rows of each hidden stretch the colours at its ends, to its middle each."""
    filled = colours.copy()
    for first, last in _runs(hidden):
        middle = (first + last + 1) // 2
        if last + 1 < len(colours):
            filled[middle : last + 1] = colours[last + 1]
        if first > 0:
            filled[first:middle] = colours[first - 1]
    return filled


def _line(colours: FloatArray, strip: TubeStrip) -> FloatArray:
    """How each row stands out from its neighbours, in all but a third of the bore.

    The dark or bright rim of a meniscus, all that a clear liquid may show.
    """
    height = max(1, round(LINE_BORES * strip.bore_columns))
    thin = uniform_filter1d(colours, height, axis=0)
    wide = uniform_filter1d(colours, 5 * height, axis=0)
    return quantile_of_few(_colour_distance(thin, wide), STEP_QUANTILE, axis=1)


def _colour_distance(one: FloatArray, other: FloatArray) -> FloatArray:
    """Sum over the three colours, which come last, of what two pictures differ."""
    apart = np.abs(one - other)
    return np.asarray(apart[..., 0] + apart[..., 1] + apart[..., 2])


def _row_of(peak: int, lasting: FloatArray, line: FloatArray, gap: int) -> float:
    """Return the row of a level: of its step, or of its line where that is the clearer."""
    low = max(peak - gap, 0)
    near = slice(low, peak + gap + 1)
    if lasting[near].max() < line[near].max():
        return float(low + int(np.argmax(line[near])))
    return _middle_of_peak(lasting, low + int(np.argmax(lasting[near])))


def _hidden_rows(strip: TubeStrip, colours: FloatArray, beside: FloatArray) -> BoolArray:
    """Rows in which something covers the tube and its surroundings on both sides.

    The light that a filling throws on the board changes the surroundings too; what covers the
    tube goes on across it in much the same colour.
    """
    bore = least_of(list(colours.swapaxes(0, 1)), BORE_COLUMNS // 2)
    gap = int(CLIP_GAP_WIDTHS * strip.width_columns)
    # A clip's rim is blurred and shadowed: widen by a twelfth of the tube's width.
    pad = max(2, int(strip.width_columns / 12))
    hidden = np.zeros(len(strip.bgr), bool)
    departure = _colour_distance(beside, _shading(beside, strip.inside_picture))
    for sides, departures in zip(beside, departure, strict=True):
        across = _colour_distance(sides, bore).max(axis=0)
        least, most = departures.min(axis=0), departures.max(axis=0)
        # One side may have been mistaken for shading by the parabola, not both.
        covered = (least > HIDDEN_STEP) | (most > 3 * HIDDEN_STEP)
        covered &= across < SAME_COVER * np.where(least > HIDDEN_STEP, least, most)
        closed = _erode(_dilate(covered, gap), gap)
        hidden |= _with_sharp_ends(closed, sides, strip.inside_picture, strip.width_columns)
    # The blurred end of a meniscus reaches over the wall for a row or two.
    for first, last in _runs(hidden):
        if last - first + 1 < pad:
            hidden[first : last + 1] = False
    return _dilate(hidden, pad)


def _with_sharp_ends(
    hidden: BoolArray, sides: FloatArray, inside: BoolArray, width: float
) -> BoolArray:
    """Keep the stretches that begin and end at once: light and shade fade in and out."""
    jumps = [_jump(side) for side in sides]
    kept = np.zeros_like(hidden)
    reach = max(3, int(TILT_WIDTHS * width))
    for first, last in _runs(hidden):
        sharp = []
        for end in (first, last):
            low, high = max(end - reach, 0), min(end + reach, len(hidden) - 1)
            cut_off = not (inside[low] and inside[high])
            least = min(float(jump[low : high + 1].max()) for jump in jumps)
            sharp.append(cut_off or least > HIDDEN_STEP)
        if all(sharp):
            kept[first : last + 1] = True
    return kept


def _jump(side: FloatArray) -> FloatArray:
    """Change of colour over four rows: an edge under an ordinary blur."""
    change = np.zeros(len(side))
    change[2:-2] = _colour_distance(side[4:], side[:-4])
    return change


def _runs(rows: BoolArray) -> list[tuple[int, int]]:
    change = np.flatnonzero(np.diff(np.concatenate([[False], rows, [False]]).astype(int)))
    return [(int(a), int(b) - 1) for a, b in zip(change[::2], change[1::2], strict=True)]


def _sides(strip: TubeStrip, reach: tuple[float, float]) -> FloatArray:
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


def _dilate(rows: BoolArray, reach: int) -> BoolArray:
    return np.convolve(rows, np.ones(2 * reach + 1), mode="same") > 0.5


def _erode(rows: BoolArray, reach: int) -> BoolArray:
    return ~_dilate(~rows, reach)


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


def _visible_range(
    strip: TubeStrip, hidden: BoolArray, rows: tuple[int, int]
) -> tuple[int, int]:
    """Cut the allowed range at the cap and the block, which hide an end of the strip."""
    seen = strip.inside_picture & ~hidden
    first, last = max(rows[0], 0), min(rows[1], len(seen) - 1)
    inside = np.flatnonzero(seen[first : last + 1])
    if len(inside) == 0:
        return first, first
    return first + int(inside[0]), first + int(inside[-1])


def _peaks(
    step: FloatArray,
    strip: TubeStrip,
    hidden: BoolArray,
    visible: tuple[int, int],
    usual: FloatArray,
) -> list[int]:
    """Rows of local maxima of the step that stand out of the noise, strongest first."""
    height, gap = window_rows(strip)
    rest = step.copy()
    rest[: visible[0]] = 0.0
    rest[visible[1] + 1 :] = 0.0
    noise = float(np.median(usual[visible[0] : visible[1] + 1]))
    threshold = max(NOISE_FACTOR * noise, MIN_STEP)
    # The shadow of what hides reaches a little farther.
    rest[_dilate(hidden, gap // 2)] = 0.0
    reach = gap + height
    found: list[int] = []
    while len(found) < MAX_PEAKS:
        top = int(np.argmax(rest))
        if rest[top] < threshold:
            break
        low, high = max(0, top - reach), top + reach + 1
        if step[top] >= step[low:high].max() * (1 - 1e-9):
            found.append(top)
        rest[low:high] = 0.0
    return found


def _middle_of_peak(step: FloatArray, row: int) -> float:
    """Return the middle of the plateau that a sharp edge makes between the windows."""
    high = step >= PLATEAU_SHARE * step[row]
    below = np.flatnonzero(~high[row:])
    above = np.flatnonzero(~high[row::-1])
    last = row + int(below[0]) - 1 if len(below) else len(step) - 1
    first = row - int(above[0]) + 1 if len(above) else 0
    return 0.5 * (first + last)


def _bands(
    colours: FloatArray,
    usable: BoolArray,
    peaks: list[int],
    step: FloatArray,
    strip: TubeStrip,
) -> list[tuple[int, int]]:
    """Find short stretches with one filling above and below: clips no wider than the tube."""
    height, gap = window_rows(strip)
    cuts = [0, *peaks, len(colours)]
    found = []
    for k in range(1, len(cuts) - 2):
        first, last = cuts[k], cuts[k + 1]
        if last - first > BAND_WIDTHS * strip.width_columns:
            continue
        reach = 4 * (gap + height)
        above = _filling(colours, usable, max(cuts[k - 1] + gap, first - reach), first - gap)
        below = _filling(colours, usable, last + gap, min(cuts[k + 2] - gap, last + reach))
        if above is None or below is None:
            continue
        difference = float(np.quantile(np.abs(above - below).sum(axis=1), STEP_QUANTILE))
        if difference < BAND_LIKENESS * min(float(step[first]), float(step[last])):
            heart = _dark_rows(colours, first, last)
            if heart[1] - heart[0] > MENISCUS_BORES * strip.bore_columns:
                found.append((first, last))
    return found


def _dark_rows(colours: FloatArray, first: int, last: int) -> tuple[int, int]:
    """Rows between two peaks that depart most from what is at both ends."""
    bore = np.median(colours[first : last + 1], axis=1)
    ends = np.linspace(bore[0], bore[-1], len(bore))
    away = np.abs(bore - ends).sum(axis=1)
    rows = np.flatnonzero(away >= 0.5 * away.max())
    return first + int(rows[0]), first + int(rows[-1])


def _heart(row: int, peaks: list[int], colours: FloatArray, strip: TubeStrip) -> int:
    """Move a peak to the thin dark line it is the flank of, if its neighbour is the other.

    The dark rim of a meniscus between two fillings of one brightness steps down and up.
    """
    height, gap = window_rows(strip)
    near = [p for p in peaks if 0 < abs(p - row) <= 2 * (height + gap)]
    for other in near:
        first, last = min(row, other), max(row, other)
        low, high = _dark_rows(colours, first, last)
        thin = high - low <= MENISCUS_BORES * strip.bore_columns
        inner = low - first > gap / 2 and last - high > gap / 2
        if thin and inner:
            return (low + high) // 2
    return row


def _choose(
    colours: FloatArray,
    usable: BoolArray,
    peaks: list[int],
    step: FloatArray,
    count: int,
    noise: float,
) -> tuple[list[int], Interface | None]:
    """Choose the interfaces that leave each filling most alike, and the clearest one left.

    ``noise`` is what no interface explains.
    """
    size = min(count, len(peaks))
    if size == 0:
        return [], None
    sets = list(combinations(sorted(peaks), size))
    tallest = max(float(step[p]) for p in peaks)
    costs = [
        _unlikeness(colours, usable, chosen)
        # Shading along a tube can outweigh a faint level: a clear step speaks for a set.
        * (tallest / min(float(step[p]) for p in chosen)) ** STEP_EXPONENT
        for chosen in sets
    ]
    best = list(sets[int(np.argmin(costs))])
    others = [p for p in peaks if p not in best]
    rival = None
    if others:
        more = [_unlikeness(colours, usable, tuple(sorted([*best, p]))) for p in others]
        clearest = others[int(np.argmin(more))]
        weakest = min(float(step[p]) for p in best)
        # Another interface is real when it explains more than half of what is left unlike
        # and steps half as much as the weakest one chosen.
        if min(more) - noise < 0.5 * (min(costs) - noise) and step[clearest] > 0.5 * weakest:
            rival = Interface(row=float(clearest), step=float(step[clearest]))
    return best, rival


def _noise(colours: FloatArray, usable: BoolArray, apart: int) -> float:
    """Part of the unlikeness that is noise: what rows so near to each other differ by."""
    both = usable[apart:] & usable[: len(usable) - apart]
    if apart == 0 or not both.any():
        return 0.0
    away = _colour_distance(colours[apart:][both], colours[:-apart][both])
    a_row = quantile_of_few(away, 0.5, axis=1)
    return float(np.median(a_row) / np.sqrt(2.0) * usable.sum())


def _unlikeness(colours: FloatArray, usable: BoolArray, cuts: tuple[int, ...]) -> float:
    """Sum over rows of the departure from the filling's own median colour."""
    total = 0.0
    edges = [0, *cuts, len(colours)]
    for first, last in pairwise(edges):
        rows = colours[first:last][usable[first:last]]
        if len(rows) == 0:
            continue
        thin = rows[:: max(len(rows) // 200, 1)]
        usual = quantile_of_few(thin, 0.5, axis=0)
        away = _colour_distance(thin, usual)
        middle = quantile_of_few(away, 0.5, axis=1)
        total += float(middle.sum()) * len(rows) / len(thin)
    return total


def _cover_edge(
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


def _stretches(hidden: BoolArray, visible: tuple[int, int]) -> tuple[tuple[int, int], ...]:
    inside = hidden.copy()
    inside[: visible[0]] = False
    inside[visible[1] + 1 :] = False
    return tuple(_runs(inside))


def _hidden_change(
    colours: FloatArray,
    usable: BoolArray,
    chosen: list[int],
    stretches: tuple[tuple[int, int], ...],
    strip: TubeStrip,
) -> tuple[int, int] | None:
    """Find a covered stretch that has different fillings above and below."""
    height, gap = window_rows(strip)
    margin = gap + height
    cuts = [0, *sorted([*chosen, *(row for pair in stretches for row in pair)]), len(colours)]
    for first, last in stretches:
        # Whole fillings: clips throw shadows on what is next to them.
        start = max(cut for cut in cuts if cut < first) if first > 0 else 0
        end = min(cut for cut in cuts if cut > last)
        above = _filling(colours, usable, max(start + gap, first - 8 * margin), first - 1)
        below = _filling(colours, usable, last + 1, min(end - gap, last + 8 * margin))
        if above is None or below is None:
            continue
        difference = float(np.quantile(np.abs(above - below).sum(axis=1), STEP_QUANTILE))
        steps = [_difference_across(colours, usable, p, margin) for p in chosen]
        reference = min((s for s in steps if s > 0), default=0.0)
        if difference > max(SAME_FILLING * reference, HIDDEN_STEP):
            return first, last
    return None


def _filling(
    colours: FloatArray, usable: BoolArray, first: int, last: int
) -> FloatArray | None:
    """Median colours of a stretch between a cover and the next interface or cover."""
    rows = np.arange(max(first, 0), min(last, len(colours) - 1) + 1)
    rows = rows[usable[rows]]
    return np.asarray(np.median(colours[rows], axis=0)) if len(rows) >= 3 else None


def _difference_across(colours: FloatArray, usable: BoolArray, row: int, margin: int) -> float:
    above = np.arange(max(row - 2 * margin, 0), max(row - margin // 2, 0))
    below = np.arange(
        min(row + margin // 2, len(colours)), min(row + 2 * margin, len(colours))
    )
    above, below = above[usable[above]], below[usable[below]]
    if len(above) < 3 or len(below) < 3:
        return 0.0
    gap = np.abs(np.median(colours[above], axis=0) - np.median(colours[below], axis=0))
    return float(np.quantile(gap.sum(axis=1), STEP_QUANTILE))
