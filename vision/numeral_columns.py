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

    Notes
    -----
    x to the right, y down, centre of the first pixel of the upright picture at 0, 0.
    """

    index: NDArray[np.int64]
    centre_px: FloatArray
    along_px: FloatArray
    across_px: FloatArray
    tick_half_length_px: float

    def __post_init__(self) -> None:
        count = len(self.index)
        shapes = {self.centre_px.shape, self.along_px.shape, self.across_px.shape}
        if count < 2 or shapes != {(count, 2)} or not np.all(np.diff(self.index) == 1):
            raise ValueError("index must be consecutive, K >= 2, and the others (K, 2)")

    @property
    def pitch_px(self) -> float:
        """Median length of one division [px]."""
        return float(np.median(np.hypot(*self.along_px.T)))

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
    across_px
        Middle of the numbers, from the spine to the right.
    offset_px
        Middle of the figures above (along the scale) their graduation.
    width_px, height_px
        Widest number; height of the figures.
    score
        Contrast of the strokes times the square root of height and count; for ranking.
    """

    numbered_every: int
    phase: int
    across_px: float
    offset_px: float
    width_px: float
    height_px: float
    score: float


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


def sample_strip(grey: NDArray[np.uint8], geometry: ScaleGeometry) -> Strip:
    """Sample the picture along the scale at about its own resolution.

    Parameters
    ----------
    grey : ndarray, shape (H, W), uint8
    geometry
        Where the scale is.
    """
    pitch = geometry.pitch_px
    margin = 40.0 / pitch
    low, high = geometry.index[0] - margin, geometry.index[-1] + margin
    pixel = max(1.0, (high - low) * pitch / STRIP_ROWS_LIMIT)
    reach = geometry.tick_half_length_px + REACH_DIVISIONS * pitch
    reach = min(reach, max(REACH_LIMIT_PX * pixel, geometry.tick_half_length_px + 60.0))
    rows = int((high - low) * pitch / pixel)
    index = high - np.arange(rows) * pixel / pitch
    centre, _, across = (part.astype(np.float32) for part in geometry.at(index))
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

    Returns
    -------
    tuple of tuple of NumeralColumn
        Proposals, likeliest first. The columns of one proposal share step and phase.
    """
    strip = sample_strip(grey, geometry)
    sums = cv2.integral(strip.strokes)
    steps = NUMBERED_EVERY if numbered_every is None else (numbered_every,)
    best: dict[int, tuple[float, int, float, FloatArray]] = {}
    for height in TEXT_HEIGHTS_PX:
        grid = _stroke_grid(sums, strip, geometry, height)
        for step in steps:
            if height > 0.95 * step * strip.rows_per_division:
                continue
            score = _contrast(grid, step) * np.sqrt(height)
            if phase is None:
                first = int(np.argmax(score.max(axis=1)))
            else:
                first = int((phase - geometry.index[0]) % step)
            top = float(score[first].max())
            if top > best.get(step, (0.0,))[0]:
                best[step] = (top, first, height, score[first])
    ranked = sorted(best.items(), key=lambda item: -item[1][0])[:most]
    proposals = []
    for step, (top, first, height, score) in ranked:
        peaks = _peaks(score, max(1, round(2.0 * height / COLUMN_STEP_PX)), most)
        columns = (_refine(strip, geometry, step, first, height, p, score[p]) for p in peaks)
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
    sums: NDArray[np.int32], strip: Strip, geometry: ScaleGeometry, height: float
) -> FloatArray:
    """Mean strokes in a box of one figure at every half index: shape (2 K - 1, columns)."""
    index = geometry.index[0] + 0.5 * np.arange(2 * len(geometry.index) - 1)
    rows, columns = (length - 1 for length in sums.shape)
    top, bottom = _box(np.rint(strip.row(index)).astype(int), round(height), rows)
    width = max(3, round(BOX_ASPECT * height))
    left, right = _box(np.arange(0, columns, COLUMN_STEP_PX), width, columns)
    lower, upper = sums[bottom], sums[top]
    total = lower[:, right] - lower[:, left] - upper[:, right] + upper[:, left]
    return np.asarray(total / (height * width))


def _box(middle: NDArray[np.int64], size: int, limit: int) -> tuple[NDArray[np.int64], ...]:
    """First and one past the last place of boxes, inside 0..limit."""
    first = np.clip(middle - size // 2, 0, limit)
    return first, np.clip(first + size, 0, limit)


def _contrast(grid: FloatArray, step: int) -> FloatArray:
    """Strokes at numbered graduations less those half-way, times sqrt(count).

    Shape (phases, columns); phases count from the first index.
    """
    period = 2 * step
    cycles = -(-len(grid) // period)
    padded = np.zeros((cycles * period, grid.shape[1]))
    padded[: len(grid)] = grid
    total = padded.reshape(cycles, period, -1).sum(axis=0)
    count = np.bincount(np.arange(len(grid)) % period, minlength=period)
    mean = total / np.maximum(count, 1)[:, None]
    here = 2 * np.arange(step)
    between = (here + step) % period
    enough = (count[here] >= LEAST_LABELS) & (count[between] > 0)
    weight = np.sqrt(count[here]) * enough
    return np.asarray((mean[here] - mean[between]) * weight[:, None])


def _peaks(score: FloatArray, apart: int, most: int) -> list[int]:
    """Highest places of a profile, at least ``apart`` from each other."""
    left = score.copy()
    peaks: list[int] = []
    while len(peaks) < most:
        top = int(np.argmax(left))
        if left[top] < SIDE_COLUMN_SHARE * score.max() or left[top] <= 0:
            break
        peaks.append(top)
        left[max(0, top - apart) : top + apart + 1] = -np.inf
    return peaks


def _refine(
    strip: Strip, geometry: ScaleGeometry, step: int, phase: int, height: float, peak: int, score: float
) -> NumeralColumn | None:
    """Extent of the numbers from the mean of their strokes over all numbered graduations."""
    first = geometry.index[0] + phase
    labels = np.arange(first, geometry.index[-1] + 1, step, dtype=np.float64)
    half = round(min(1.6 * height, 0.5 * step * strip.rows_per_division))
    middle = peak * COLUMN_STEP_PX
    span = slice(max(0, middle - round(4 * height)), middle + round(4 * height))
    mean = _window_mean(strip.strokes[:, span], strip.row(labels), half)
    between = _window_mean(strip.strokes[:, span], strip.row(labels + step / 2), half)
    ground = np.median(between, axis=0)
    excess = mean - ground
    centre = half + 1
    across = excess[centre - round(height / 2) : centre + round(height / 2) + 1].mean(axis=0)
    columns = _extent(cv2.blur(across[None], (3, 1))[0], middle - span.start, 0.2, 0.45 * height)
    if columns.stop - columns.start < 2:
        return None
    rows = excess[:, columns].mean(axis=1)
    level = _extent(cv2.blur(rows[None], (3, 1))[0], int(np.argmax(rows)), 0.4, 0.25 * height)
    found = level.stop - level.start
    if found < 4:
        return None
    lateral = span.start + (columns.start + columns.stop - 1) / 2
    return NumeralColumn(
        numbered_every=step,
        phase=int(first % step),
        across_px=strip.left_px + lateral * strip.column_px,
        offset_px=-((level.start + level.stop - 1) / 2 - centre) * strip.column_px,
        width_px=(columns.stop - columns.start) * strip.column_px,
        height_px=found * strip.column_px,
        score=float(score),
    )


def _window_mean(strokes: ImageArray, rows: FloatArray, half: int) -> FloatArray:
    """Mean of windows of 2 half + 3 rows about the given rows that lie on the strip."""
    offsets = np.arange(-half - 1, half + 2)
    inside = rows[(rows > half + 1) & (rows < len(strokes) - half - 2)]
    if not len(inside):
        return np.zeros((len(offsets), strokes.shape[1]))
    picked = np.rint(inside).astype(int)[:, None] + offsets
    return np.asarray(strokes[picked].mean(axis=0), dtype=np.float64)


def _extent(profile: FloatArray, start: int, share: float, gap: float) -> slice:
    """Run about ``start`` above a share of its maximum, bridging gaps."""
    above = profile > share * profile.max()
    places = np.flatnonzero(above)
    if not len(places):
        return slice(start, start)
    groups = np.split(places, np.flatnonzero(np.diff(places) > max(1.0, gap)) + 1)
    nearest = min(groups, key=lambda run: min(abs(run[0] - start), abs(run[-1] - start)) if not run[0] <= start <= run[-1] else 0)
    return slice(int(nearest[0]), int(nearest[-1]) + 1)
