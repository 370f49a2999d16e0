"""Where the tubes stand: upright bands that are symmetric and change along their length.

The picture is handed in rectified, so that every tube is a band of constant column and known
width. Three facts single tubes out from strips, posts, print and board edges, whatever the
colours:

- the edges of a tube come in pairs, mirrored about its axis, and so do the lines inside;
- they change where the liquid ends, while edges of strips and boards stay the same from top
  to bottom: what is scored is the departure of each lateral edge from its usual value;
- print is thin: medians over the rows of one numbered step leave board and tube and drop
  graduations and numerals.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from limbsight.vision.level_marks import level_evidence
from limbsight.vision.quantiles import median_of_bytes, quantile_of_few

FloatArray = NDArray[np.float64]

GOLDEN_RATIO = 0.6180339887498949

EDGE_CAP = 20.0
"""Grey levels (sum over three colours) above which an edge counts no more: a clip or a strip
of strong colour must not outvote a glass edge that is seen over the whole length."""
STEADY_SHARE = 0.02
"""Weight of the steady part of an edge, which tells tubes from nothing where liquid fills or
misses a whole limb."""
MIN_APART_WIDTHS = 0.55
"""Candidates may overlap by less than half: a clip's end beside a tube must not blot it
out."""
MAX_PRINT_SHARE = 0.4
"""Graduations may reach under the rim of a tube, hardly to its axis."""
MIN_SCORE_RATIO = 3.0
"""A limb is certain when it scores this much over the best band that was left out, both
weighed by the levels in them: the tubes of one bank differ by a factor of 1.3 to 3.2 (14
sample photos and renders), so a third limb that was left out would mostly score more."""
MIN_PLACE_RATIO = 1.2
"""Where the limb was the right one it scored 1.46 times the bands that overlap it or more;
where it was not, 1.04 and more (154 sample photos and renders)."""
NEAR_PLACE_WIDTHS = 0.3
"""How far the walls may stand from where a tube was proposed."""
MIN_SCORE = 5.0
"""Twice the score that walls alone get on empty board under the noise of the sample photos,
before levels are counted; a low bar since they are."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BoardPicture:
    """The straightened surroundings of a scale.

    Attributes
    ----------
    bgr : ndarray, shape (R, C, 3), uint8
        Rows and columns alike in scale; tubes are upright bands.
    print_columns : ndarray, shape (C,), bool
        Columns taken up by short graduations: a band that they fill is not a tube.
    block_rows
        Rows of one numbered step of the scale: medians over it drop print.
    line_rows
        Distance of neighbouring graduations.
    """

    bgr: NDArray[np.uint8]
    print_columns: NDArray[np.bool_]
    block_rows: int
    line_rows: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LimbBand:
    """One tube in the rectified picture.

    Attributes
    ----------
    centre_column
        Column of the axis, fractional.
    width_columns
        Outside width.
    score
        Strength of evidence [grey levels].
    """

    centre_column: float
    width_columns: float
    score: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LimbCandidates:
    """Bands that may be tubes.

    Attributes
    ----------
    bands
        Best first.
    walls : ndarray, shape (C,)
        How clearly a pair of walls stands about each column [grey levels].
    """

    bands: tuple[LimbBand, ...]
    walls: FloatArray


@dataclass(frozen=True, slots=True, kw_only=True)
class LimbChoice:
    """The limbs, left to right, and how far the next candidate stayed behind.

    Attributes
    ----------
    limbs
        The bands chosen.
    clearance
        Score of the weakest limb over that of the best band left out elsewhere.
    place_clearance
        Least score of a limb over that of a band that overlaps it.
    """

    limbs: tuple[LimbBand, ...]
    clearance: float
    place_clearance: float = np.inf

    @property
    def certain(self) -> bool:
        """Whether every limb stands out from what was left out."""
        weakest = min((limb.score for limb in self.limbs), default=0.0)
        return (
            self.clearance >= MIN_SCORE_RATIO
            and self.place_clearance >= MIN_PLACE_RATIO
            and weakest >= MIN_SCORE
        )


def block_medians(rectified: NDArray[np.uint8], block_rows: int) -> FloatArray:
    """Return the median colour of each column over blocks of rows.

    Parameters
    ----------
    rectified : ndarray, shape (R, C, 3), uint8
    block_rows
        Rows of one block: one numbered step of the scale, so that print drops out.

    Returns
    -------
    ndarray, shape (R // block_rows, C, 3)
    """
    blocks = rectified.shape[0] // block_rows
    usable = rectified[: blocks * block_rows]
    shaped = usable.reshape(blocks, block_rows, *rectified.shape[1:])
    # Half of the rows serve a median as well; spread by the golden ratio, so that they never
    # fall into step with the graduations.
    fraction = (np.arange(max(block_rows // 2, 3)) * GOLDEN_RATIO) % 1.0
    some = np.unique((fraction * block_rows).astype(np.intp))
    return median_of_bytes(shaped[:, some], axis=1)


def limb_candidates(
    board: BoardPicture, width_columns: float, bore_columns: float, count: int
) -> LimbCandidates:
    """Find bands that may be tubes of one width, best first.

    Parameters
    ----------
    board
    width_columns, bore_columns
        Outside and inside width of a tube.
    count
        How many to return at most. Bands may overlap by less than half.
    """
    blocks = block_medians(board.bgr, board.block_rows)
    edges = np.diff(blocks, axis=1)
    strength = changing_edges(edges)
    walls = _mirror_score(strength, width_columns)
    evidence = level_evidence(
        board.bgr, width_columns, bore_columns, board.line_rows, board.block_rows
    )
    score = walls * (1.0 + evidence)
    score[_share(board.print_columns, width_columns) > MAX_PRINT_SHARE] = 0.0
    bands = tuple(
        LimbBand(
            centre_column=_refine(edges, strength, peak, width_columns),
            width_columns=width_columns,
            score=float(score[peak]),
        )
        for peak in _peaks(score, MIN_APART_WIDTHS * width_columns, limit=count)
    )
    return LimbCandidates(bands=bands, walls=walls)


def choose_limbs(candidates: Sequence[LimbBand], count: int) -> LimbChoice:
    """Choose the best bands that do not overlap.

    Parameters
    ----------
    candidates
        In any order.
    count
        How many limbs there are.
    """
    chosen: list[LimbBand] = []
    left_out: list[LimbBand] = []
    for band in sorted(candidates, key=lambda band: -band.score):
        free = all(not overlap(band, other) for other in chosen)
        (chosen if free and len(chosen) < count else left_out).append(band)
    weakest = min((band.score for band in chosen), default=0.0)
    elsewhere = place = np.inf
    for band in left_out:
        # In the place of a limb there can be another reading of that limb only.
        rivals = [other.score for other in chosen if overlap(band, other)]
        ratio = max(rivals, default=weakest) / max(band.score, 1e-9)
        if rivals:
            place = min(place, ratio)
        else:
            elsewhere = min(elsewhere, ratio)
    return LimbChoice(
        limbs=tuple(sorted(chosen, key=lambda band: band.centre_column)),
        clearance=elsewhere,
        place_clearance=place,
    )


def near_places(
    candidates: Sequence[LimbBand], columns: Sequence[float], width_columns: float
) -> LimbChoice:
    """Choose the best band near each of the columns where tubes are known to be.

    Where there is none the tube is taken to be in that column itself.
    """
    limbs = []
    for column in columns:
        near = [
            band
            for band in candidates
            if abs(band.centre_column - column) < NEAR_PLACE_WIDTHS * width_columns
        ]
        alone = LimbBand(centre_column=column, width_columns=width_columns, score=MIN_SCORE)
        limbs.append(max(near, key=lambda band: band.score, default=alone))
    return LimbChoice(limbs=tuple(limbs), clearance=np.inf)


def overlap(one: LimbBand, other: LimbBand) -> bool:
    """Say whether two bands can't both be tubes."""
    return abs(one.centre_column - other.centre_column) < one.width_columns


def changing_edges(edges: FloatArray) -> FloatArray:
    """Strength of each lateral edge: how it changes along the tube, and a little how it is."""
    change = np.abs(edges - quantile_of_few(edges, 0.5, axis=0)).sum(axis=2)
    steady = np.abs(edges).sum(axis=2)
    energy = (np.minimum(change, EDGE_CAP) ** 2).mean(axis=0)
    energy += STEADY_SHARE * (np.minimum(steady, EDGE_CAP) ** 2).mean(axis=0)
    return np.asarray(np.sqrt(energy))


def _mirror_score(strength: FloatArray, width: float) -> FloatArray:
    """Mean of the mirrored edge strength inside a band, plus its pair of outer edges."""
    half = max(round(width / 2), 3)
    score = np.zeros(len(strength) + 1)
    if len(strength) <= 2 * half + 1:
        return score
    stretches = sliding_window_view(strength, half + 1)
    axes = np.arange(half + 1, len(strength) - half)
    left, right = stretches[axes - half - 1, ::-1], stretches[axes]
    rim = slice(max(half - 3, 0), half + 1)
    rims = np.minimum(left[:, rim].max(axis=1), right[:, rim].max(axis=1))
    score[axes] = np.minimum(left, right).mean(axis=1) + rims
    return score


def _share(columns: NDArray[np.bool_], width: float) -> FloatArray:
    """Share of marked columns in a band about each column."""
    kernel = np.ones(2 * (max(round(width / 2), 3)) + 1)
    return np.convolve(columns.astype(float), kernel / len(kernel), mode="same")


def _peaks(score: FloatArray, width: float, limit: int) -> list[int]:
    rest = score.copy()
    found: list[int] = []
    reach = int(width)
    for _ in range(limit):
        peak = int(np.argmax(rest))
        if rest[peak] <= 0:
            break
        found.append(peak)
        rest[max(0, peak - reach) : peak + reach + 1] = 0.0
    return found


def _refine(edges: FloatArray, strength: FloatArray, peak: int, width: float) -> float:
    """Return the axis about which the lateral edges mirror best, to a tenth of a column.

    Parameters
    ----------
    edges : ndarray, shape (B, C, 3)
        Signed lateral differences; ``edges[:, i]`` sits between columns i and i + 1.
    strength : ndarray, shape (C - 1,)
        Their changing part, unsigned.

    Notes
    -----
    Two measures, each scaled to its own range: a mirror turns an edge round (left against
    minus right, best for coloured liquids), and pairs of changing edges whatever their sign
    (best for mercury, whose reflections are not symmetric).
    """
    reach = int(0.55 * width) + 1
    span = int(0.15 * width) + 1
    low, high = peak - reach - span, peak + reach + span
    if low < 0 or high >= edges.shape[1] or span < 2:
        # At the rim, or a tube of so few columns that there is nothing to choose from.
        return float(peak)
    capped = np.clip(edges[:, low:high], -EDGE_CAP, EDGE_CAP)
    by_column = capped.transpose(1, 0, 2).reshape(high - low, -1)
    product = by_column @ by_column.T
    changing = strength[low:high]
    # Axis at doubled / 2 in units of edges: pairs (i, doubled - i).
    doubled = np.arange(2 * (reach + 1), 2 * (high - low - reach - 1))[:, None]
    right = doubled // 2 + np.arange(1, reach)
    left = doubled - right
    turned = -product[right, left].sum(axis=1)
    paired = np.minimum(changing[right], changing[left]).sum(axis=1)
    score = _scaled(turned) + _scaled(paired)
    best = int(np.argmax(score))
    shift = 0.0
    if 0 < best < len(score) - 1:
        before, at, after = score[best - 1 : best + 2]
        bend = 2 * at - before - after
        shift = float(0.5 * (after - before) / bend) if bend > 0 else 0.0
    axis_in_edges = (doubled[0, 0] + best + shift) / 2
    return float(low + axis_in_edges + 0.5)


def _scaled(score: FloatArray) -> FloatArray:
    return np.asarray((score - score.min()) / max(float(np.ptp(score)), 1e-9))
