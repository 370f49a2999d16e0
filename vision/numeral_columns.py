"""Columns of printed numbers beside a graduated scale of known geometry.

Numbers repeat along the scale at the numbered graduations. On a strip sampled along the
scale their upright strokes stand out as change across the scale that is there at the
numbered graduations and missing half-way between them. Whatever runs along the scale (tube
walls, borders) is the same at both places and cancels; the ends of graduation lines are too
thin to count.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
ImageArray = NDArray[np.uint8]

REACH_DIVISIONS = 30.0
"""Numbers are looked for this far beyond the ends of the lines; common practice puts them
much nearer, no source."""
REACH_LIMIT_PX = 420.0
"""Bounds the time; wider strips hold other instruments rather than numbers."""
FAR_SHARE = 0.5
"""Of the picture's width to either side, where nearer there are none: between two tubes with
graduations behind them one column of numbers serves both."""
MARGIN_PX = 160.0
"""Looked at beyond the ends of lines that run over a whole board: a gap of a figure's height
and four figures of the largest size."""
STRIP_ROWS_LIMIT = 2000
"""Longer scales are searched at reduced resolution; numbers are then large as well."""
TEXT_HEIGHTS_PX = (6.0, 8.0, 11.0, 15.0, 20.0, 27.0, 36.0)
"""Heights of figures tried on the strip; steps of a third match the tolerance of the
network, which is trained on heights from 12 to 23 of 32 rows."""
BOX_ASPECT = 0.6
"""Width of a single figure over its height (sans and serif book faces: 0.5 to 0.7)."""
COLUMN_STEP_PX = 3
NUMBERED_EVERY = (1, 2, 4, 5, 8, 10, 16, 20, 25, 40, 50, 100)
"""Divisions between numbered graduations in common practice, no source."""
LEAST_LABELS = 2
STROKE_BOUND_PERCENT = 97.0
"""Stronger strokes (tube walls, borders) count no more than this percentile."""
PROPOSAL_SHARE = 0.35
"""Weaker proposals than this share of the best are noise."""
GAP_SHARE = 0.06
"""Half-way between numbers this share of their step, each way, is free of figures."""
SMEAR_PX = 1.6
"""Strokes reach this much too far up and down through smoothing: median over 120 scales drawn
in the faces of the training, the same for figures of 8 to 20 px."""
LEAST_HEIGHT_PX = 6
"""Figures lower than this less SMEAR_PX can't be read; ends of lines are lower."""
STANDING_GAP, LYING_GAP = 0.7, 0.2
"""Gaps bridged across the scale, in figure heights: beside a point, and none to speak of."""
DRIFT_PARTS, DRIFT_ROUNDS = 3, 2
"""Numbers may drift along their column where the geometry is not exact: thirds of the
column are placed on their own, twice."""
SIDE_COLUMN_SHARE = 0.45
"""A further column (other margin, between tubes) has at least this share of the score."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ScaleGeometry:
    """Where the graduations of one scale are in the picture.

    Attributes
    ----------
    index : ndarray, shape (K,), int
        Consecutive numbers of the graduations, increasing along ``along_px``; any origin.
    centre_px : ndarray, shape (K, 2), float64
        x, y on the spine: any smooth line along the scale that crosses the graduation
        lines, such as their middles.
    along_px : ndarray, shape (K, 2), float64
        Vector of one division in the direction of increasing index (upward).
    across_px : ndarray, shape (K, 2), float64
        Unit vector along the graduation line, to the right of ``along_px``.
    tick_half_length_px : float
        Half the length of the longest graduation lines.
    beyond_ends : int
        Graduations at either end that were not found, but may be there.
    u_slope : float
        Standard uncertainty of the direction of the graduation lines [rad]: figures far beside
        them stand less surely at their height.

    Notes
    -----
    x to the right, y down, centre of the first pixel of the upright picture at 0, 0.
    """

    index: NDArray[np.int64]
    centre_px: FloatArray
    along_px: FloatArray
    across_px: FloatArray
    tick_half_length_px: float
    beyond_ends: int = 0
    u_slope: float = 0.0

    def __post_init__(self) -> None:
        count = len(self.index)
        shapes = {self.centre_px.shape, self.along_px.shape, self.across_px.shape}
        if count < 2 or shapes != {(count, 2)} or not np.all(np.diff(self.index) == 1):
            raise ValueError("index must be consecutive, K >= 2, and the others (K, 2)")

    @property
    def pitch_px(self) -> float:
        """Median length of one division [px]."""
        return float(np.median(np.hypot(*self.along_px.T)))

    @property
    def uppermost(self) -> int:
        """Index of the uppermost graduation that was found."""
        return int(self.index[-1]) - self.beyond_ends

    def frame(self, index: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Centre, and vector across for one pixel at the median pitch, shape (..., 2).

        The vector shrinks with the local pitch: what is farther from the camera is smaller
        both ways.
        """
        centre, along, across = self.at(index)
        return centre, across * (np.hypot(along[..., :1], along[..., 1:]) / self.pitch_px)

    def at(self, index: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Centre, one division along, and unit vector across at fractional indices.

        Straight beyond the ends. Each has shape ``index.shape + (2,)``.
        """
        inside = np.clip(index, self.index[0], self.index[-1])

        def interpolate(values: FloatArray) -> FloatArray:
            return np.stack([np.interp(inside, self.index, part) for part in values.T], -1)

        along = interpolate(self.along_px)
        centre = interpolate(self.centre_px) + (index - inside)[..., None] * along
        return centre, along, interpolate(self.across_px)


@dataclass(frozen=True, slots=True, kw_only=True)
class NumeralColumn:
    """A column of numbers found beside a scale.

    Attributes
    ----------
    numbered_every
        Divisions between numbers.
    phase
        Index of a numbered graduation, modulo ``numbered_every``.
    middle_index
        Index to which ``across_px`` and ``offset_px`` belong.
    across_px, across_slope_px
        Middle of the numbers, from the spine to the right, and its change per division.
    offset_px, offset_slope_px
        Middle of the figures above (along the scale) their graduation, and its change per
        division, which is 0 if the geometry is exact.
    width_px, height_px
        Widest number; height of the figures.
    lying_across_px, lying_across_slope_px, lying_width_px
        Middle, its change per division and size across, if the numbers run along the scale
        instead.
    score
        Contrast of the strokes times the square root of height and count; for ranking.
    """

    numbered_every: int
    phase: int
    middle_index: float
    across_px: float
    across_slope_px: float
    offset_px: float
    offset_slope_px: float
    width_px: float
    height_px: float
    lying_across_px: float
    lying_across_slope_px: float
    lying_width_px: float
    score: float

    def place(self, index: FloatArray, *, lying: bool) -> tuple[FloatArray, FloatArray]:
        """Distance across and above the graduation of the numbers at some indices [px].

        Both at the median pitch, as :meth:`ScaleGeometry.frame` has it.
        """
        away = index - self.middle_index
        above = self.offset_px + self.offset_slope_px * away
        if lying:
            return self.lying_across_px + self.lying_across_slope_px * away, above
        return self.across_px + self.across_slope_px * away, above


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Strip:
    """Strokes (absolute change across the scale) on a grid along and across the scale.

    Row i lies at index ``top_index - i / rows_per_division``, column j at
    ``left_px + j * column_px`` to the right of the spine.
    """

    strokes: ImageArray
    top_index: float
    rows_per_division: float
    left_px: float
    column_px: float

    def row(self, index: FloatArray | float) -> FloatArray:
        """Fractional row of an index."""
        return np.asarray((self.top_index - np.asarray(index)) * self.rows_per_division)


def sample_strip(
    grey: NDArray[np.uint8], geometry: ScaleGeometry, *, far: bool = False
) -> Strip:
    """Sample the picture along the scale at about its own resolution.

    Parameters
    ----------
    grey : ndarray, shape (H, W), uint8
    geometry
        Where the scale is.
    far
        Whether numbers may stand across the whole board.
    """
    pitch = geometry.pitch_px
    margin = 40.0 / pitch
    low, high = geometry.index[0] - margin, geometry.index[-1] + margin
    pixel = max(1.0, (high - low) * pitch / STRIP_ROWS_LIMIT)
    reach = geometry.tick_half_length_px + REACH_DIVISIONS * pitch
    nearest = geometry.tick_half_length_px + MARGIN_PX * pixel
    reach = min(reach, max(REACH_LIMIT_PX * pixel, nearest))
    if far:
        reach = FAR_SHARE * grey.shape[1]
    rows = int((high - low) * pitch / pixel)
    index = high - np.arange(rows) * pixel / pitch
    centre, across = (part.astype(np.float32) for part in geometry.frame(index))
    lateral = np.arange(-reach, reach, pixel, dtype=np.float32)
    x = centre[:, :1] + lateral * across[:, :1]
    y = centre[:, 1:] + lateral * across[:, 1:]
    strip = cv2.remap(grey, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    smooth = cv2.GaussianBlur(strip, (5, 5), 0.8)
    strokes = cv2.convertScaleAbs(cv2.Sobel(smooth, cv2.CV_16S, 1, 0, ksize=3), alpha=0.5)
    bound = float(np.percentile(strokes[::4, ::4], STROKE_BOUND_PERCENT))
    return Strip(
        strokes=cv2.min(strokes, max(bound, 4.0)),
        top_index=float(high),
        rows_per_division=pitch / pixel,
        left_px=float(-reach),
        column_px=pixel,
    )


def find_columns(
    grey: NDArray[np.uint8],
    geometry: ScaleGeometry,
    numbered_every: int | None = None,
    phase: int | None = None,
    most: int = 3,
    *,
    far: bool = False,
    above: float = 0.0,
) -> tuple[tuple[NumeralColumn, ...], ...]:
    """Find columns of printed numbers.

    Parameters
    ----------
    grey : ndarray, shape (H, W), uint8
        Upright picture.
    geometry
        Where the graduations are.
    numbered_every
        Divisions between numbers, if known; else every step of common practice is tried.
    phase
        Index of a numbered graduation modulo ``numbered_every``, if both are known.
    most
        Number of columns per proposal, and of proposals.
    far
        Whether to look over half of the picture to either side.
    above
        Heights of a figure from graduations up to the middle of their numbers.

    Returns
    -------
    tuple of tuple of NumeralColumn
        Proposals, likeliest first. The columns of one proposal share step and phase.
    """
    strip = sample_strip(grey, geometry, far=far)
    sums = cv2.integral(strip.strokes)
    steps = NUMBERED_EVERY if numbered_every is None else (numbered_every,)
    best: dict[int, tuple[float, int, float]] = {}
    scores: dict[float, dict[int, FloatArray]] = {}
    for height in TEXT_HEIGHTS_PX:
        fitting = [step for step in steps if height <= 0.95 * step * strip.rows_per_division]
        if not fitting:
            continue
        # Half-way between numbers is half-way between graduations where the step is odd.
        parts = 2 if any(step % 2 for step in fitting) else 1
        grid = _stroke_grid(sums, strip, geometry, height, above, parts)
        scores[height] = {
            step: _contrast(grid, step, parts) * np.sqrt(height) for step in fitting
        }
        for step, score in scores[height].items():
            if phase is None:
                first = int(np.argmax(score.max(axis=1)))
            else:
                first = int((phase - geometry.index[0]) % step)
            top = float(score[first].max())
            if top > best.get(step, (0.0,))[0]:
                best[step] = (top, first, height)
    ranked = sorted(best.items(), key=lambda item: -item[1][0])[:most]
    proposals = []
    for step, (top, first, _) in ranked:
        profiles = {h: s[step][first] for h, s in scores.items() if step in s}
        columns = (
            _refine(strip, geometry, step, first, above, *peak)
            for peak in _peaks(profiles, most)
        )
        kept = _distinct([column for column in columns if column is not None])
        if kept and top > PROPOSAL_SHARE * ranked[0][1][0]:
            proposals.append(kept)
    return tuple(proposals)


def _distinct(columns: list[NumeralColumn]) -> tuple[NumeralColumn, ...]:
    """Leave out columns that were refined to the place of a better one."""
    kept: list[NumeralColumn] = []
    for column in columns:
        if all(abs(column.across_px - k.across_px) > k.width_px / 2 for k in kept):
            kept.append(column)
    return tuple(kept)


def _stroke_grid(
    sums: NDArray[np.int32],
    strip: Strip,
    geometry: ScaleGeometry,
    height: float,
    above: float,
    parts: int,
) -> FloatArray:
    """Mean strokes in a box of one figure at every index, or (2 ``parts``) every half one, of
    K: shape (parts (K - 1) + 1, columns)."""
    places = np.arange(parts * (len(geometry.index) - 1) + 1)
    index = geometry.index[0] + places / parts
    rows, columns = (length - 1 for length in sums.shape)
    middle = np.rint(strip.row(index) - above * height).astype(int)
    top, bottom = _box(middle, round(height), rows)
    width = max(3, round(BOX_ASPECT * height))
    left, right = _box(np.arange(0, columns, COLUMN_STEP_PX), width, columns)
    bands = sums[bottom] - sums[top]
    total = bands.take(right, axis=1) - bands.take(left, axis=1)
    return np.asarray(total / (height * width))


def _box(middle: NDArray[np.int64], size: int, limit: int) -> tuple[NDArray[np.int64], ...]:
    """First and one past the last place of boxes, inside 0..limit."""
    first = np.clip(middle - size // 2, 0, limit)
    return first, np.clip(first + size, 0, limit)


def _contrast(grid: FloatArray, step: int, parts: int) -> FloatArray:
    """Strokes at numbered graduations less those half-way, times sqrt(count).

    Shape (phases, columns); phases count from the first index.
    """
    period = parts * step
    cycles = -(-len(grid) // period)
    padded = np.zeros((cycles * period, grid.shape[1]))
    padded[: len(grid)] = grid
    total = padded.reshape(cycles, period, -1).sum(axis=0)
    count = np.bincount(np.arange(len(grid)) % period, minlength=period)
    mean = total / np.maximum(count, 1)[:, None]
    here = parts * np.arange(step)
    between = (here + period // 2) % period
    enough = (count[here] >= LEAST_LABELS) & (count[between] > 0)
    weight = np.sqrt(count[here]) * enough
    return np.asarray((mean[here] - mean[between]) * weight[:, None])


def _peaks(profiles: dict[float, FloatArray], most: int) -> list[tuple[float, int, float]]:
    """Best columns apart from each other: (height, place, score)."""
    heights = np.array(list(profiles))
    score = np.stack(list(profiles.values()))
    left = score.max(axis=0)
    bound = SIDE_COLUMN_SHARE * left.max()
    peaks: list[tuple[float, int, float]] = []
    while len(peaks) < most:
        top = int(np.argmax(left))
        if left[top] <= max(bound, 0.0):
            break
        height = float(heights[np.argmax(score[:, top])])
        peaks.append((height, top, float(left[top])))
        apart = max(1, round(2.0 * height / COLUMN_STEP_PX))
        left[max(0, top - apart) : top + apart + 1] = -np.inf
    return peaks


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Labels:
    """What the numbers of one column add to the strokes about them.

    ``strokes`` are those of the strip beside the column, ``index`` (J,) the numbered
    graduations, ``half`` the rows looked at up and down.
    """

    strip: Strip
    strokes: ImageArray
    index: FloatArray
    step: int
    half: int

    @property
    def middle(self) -> float:
        return float(self.index.mean())

    @property
    def thirds(self) -> list[FloatArray]:
        """Parts of the column, to be placed on their own; all of a short one."""
        enough = len(self.index) >= 2 * DRIFT_PARTS
        return np.array_split(self.index, DRIFT_PARTS if enough else 1)

    def seen(self, part: FloatArray, down: FloatArray, slope: float) -> FloatArray:
        """Mean strokes about some numbers, less those half-way to the next ones.

        Each is moved back by its drift: ``down`` is a straight line of rows, ``slope`` of
        columns, over the distance from the middle of the column.
        """
        gap = max(1, round(GAP_SHARE * self.step * self.strip.rows_per_division))
        away = part - self.middle
        rows, aside = self.strip.row(part) + np.polyval(down, away), slope * away
        between = self.strip.row(part + self.step / 2)
        ground = _window_mean(self.strokes, between, aside, gap).mean(axis=0)
        return np.asarray(_window_mean(self.strokes, rows, aside, self.half) - ground)


def _refine(
    strip: Strip,
    geometry: ScaleGeometry,
    step: int,
    phase: int,
    above: float,
    height: float,
    peak: int,
    score: float,
) -> NumeralColumn | None:
    """Place and size of the numbers from the mean of their strokes.

    First over all numbered graduations, then over thirds of them for the drift.
    """
    first = geometry.index[0] + phase
    middle = peak * COLUMN_STEP_PX
    left = max(0, middle - round(4 * height))
    labels = _Labels(
        strip=strip,
        strokes=strip.strokes[:, left : middle + round(4 * height)],
        index=np.arange(first, geometry.index[-1] + 1, step, dtype=np.float64),
        step=step,
        half=round(min(1.6 * height, 0.5 * step * strip.rows_per_division)),
    )
    standing = _standing(labels, height, above, middle - left)
    if standing is None:
        return None
    down, right, (wide, high) = standing
    lying, lying_wide = _lying(labels, down, height, middle - left)
    pixel = strip.column_px
    return NumeralColumn(
        numbered_every=step,
        phase=int(first % step),
        middle_index=labels.middle,
        across_px=strip.left_px + (left + float(right[1])) * pixel,
        across_slope_px=float(right[0]) * pixel,
        offset_px=-float(down[1]) * pixel,
        offset_slope_px=-float(down[0]) * pixel,
        width_px=wide * pixel,
        height_px=(high - SMEAR_PX) * pixel,
        lying_across_px=strip.left_px + (left + float(lying[1])) * pixel,
        lying_across_slope_px=float(lying[0]) * pixel,
        lying_width_px=max(lying_wide - SMEAR_PX, 2.0) * pixel,
        score=float(score),
    )


def _standing(
    labels: _Labels, height: float, above: float, start: int
) -> tuple[FloatArray, FloatArray, tuple[int, int]] | None:
    """Drift down and to the right of upright numbers that ``start`` lies in, as straight
    lines, and their width and height."""
    down: FloatArray = np.array([0.0, -above * height])
    right: FloatArray = np.array([0.0, start])
    extent = (0, 0)
    for _ in range(DRIFT_ROUNDS):
        box = _blob(labels.seen(labels.index, down, right[0]), height, round(right[1]))
        if box is None:
            return None
        inside = (box[1].start + box[1].stop) // 2
        found = [
            (part.mean() - labels.middle, *map(_middle, blob))
            for part in labels.thirds
            if (blob := _blob(labels.seen(part, down, right[0]), height, inside)) is not None
        ]
        if not found:
            return None
        away, rows, columns = np.array(found).T
        degree = 1 if len(away) == DRIFT_PARTS else 0
        moved = np.polyfit(away, rows - labels.half - 1, degree)
        down = np.asarray(np.polyadd(down, moved))
        right = np.asarray(np.polyadd([right[0], 0.0], np.polyfit(away, columns, degree)))
        extent = (box[1].stop - box[1].start, box[0].stop - box[0].start)
    return down, right, extent


def _lying(
    labels: _Labels, down: FloatArray, height: float, start: int
) -> tuple[FloatArray, int]:
    """Drift to the right of numbers that run along the scale, as a straight line, and their
    size across it."""
    right: FloatArray = np.array([0.0, start])
    for _ in range(DRIFT_ROUNDS):
        run = _columns_of(
            labels.seen(labels.index, down, right[0]), height, round(right[1]), LYING_GAP
        )
        inside = (run.start + run.stop) // 2
        columns = [
            _middle(_columns_of(labels.seen(part, down, right[0]), height, inside, LYING_GAP))
            for part in labels.thirds
        ]
        away = [part.mean() - labels.middle for part in labels.thirds]
        moved = np.polyfit(away, columns, min(len(away) - 1, 1))
        right = np.asarray(np.polyadd([right[0], 0.0], moved))
    return right, run.stop - run.start


def _middle(run: slice) -> float:
    return float((run.start + run.stop - 1) / 2)


def _blob(excess: FloatArray, height: float, start: int) -> tuple[slice, slice] | None:
    """Rows and columns of the figures in a mean window; ``start`` is a column inside."""
    columns = _columns_of(excess, height, start, STANDING_GAP)
    if columns.stop - columns.start < 2:
        return None
    profile = cv2.blur(excess[:, columns].mean(axis=1)[None], (3, 1))[0]
    rows = _extent(profile, int(np.argmax(profile)), 0.4, 0.25 * height)
    return (rows, columns) if rows.stop - rows.start >= LEAST_HEIGHT_PX else None


def _columns_of(excess: FloatArray, height: float, start: int, gap: float) -> slice:
    """Columns of the figures, over gaps of a share of their height."""
    centre, reach = len(excess) // 2, max(1, round(0.7 * height))
    across = excess[max(0, centre - reach) : centre + reach + 1].mean(axis=0)
    return _extent(cv2.blur(across[None], (3, 1))[0], start, 0.2, gap * height)


def _window_mean(
    strokes: ImageArray, rows: FloatArray, aside: FloatArray, half: int
) -> FloatArray:
    """Mean of windows of 2 half + 3 rows about the given rows that lie on the strip, each
    ``aside`` columns farther to the right."""
    offsets = np.arange(-half - 1, half + 2)
    inside = (rows > half + 1) & (rows < len(strokes) - half - 2)
    if not inside.any():
        return np.zeros((len(offsets), strokes.shape[1]))
    picked = np.rint(rows[inside]).astype(int)[:, None] + offsets
    columns = np.arange(strokes.shape[1]) + np.rint(aside[inside]).astype(int)[:, None]
    columns = np.clip(columns, 0, strokes.shape[1] - 1)
    windows = strokes[picked[:, :, None], columns[:, None, :]]
    return np.asarray(windows.mean(axis=0), dtype=np.float64)


def _extent(profile: FloatArray, start: int, share: float, gap: float) -> slice:
    """Run about ``start`` above a share of its maximum, bridging gaps."""
    above = profile > share * profile.max()
    places = np.flatnonzero(above)
    if not len(places):
        return slice(start, start)
    groups = np.split(places, np.flatnonzero(np.diff(places) > max(1.0, gap)) + 1)
    nearest = min(groups, key=lambda run: max(run[0] - start, start - run[-1], 0))
    return slice(int(nearest[0]), int(nearest[-1]) + 1)
