"""A smaller copy of a large picture to search in; measurements go back to full size."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter

from limbsight.vision.board_lines import board_width, find_board
from limbsight.vision.comb import Comb
from limbsight.vision.comb_joints import join_combs
from limbsight.vision.graduations import find_combs
from limbsight.vision.picture import Picture
from limbsight.vision.quantiles import median_of_row
from limbsight.vision.reducing import averaged
from limbsight.vision.sampling import nearest_grey
from limbsight.vision.search_size import search_factor
from limbsight.vision.segments import Ridges, Segments, find_ridges, ridges_of, segments_of
from limbsight.vision.thick_lines import Ink

SHORT_QUANTILE = 0.3
"""Four fifths of the lines of a scale are short; the rest may be found too short or long."""
OVERHANG_TREND = 15
"""Lines over which the surroundings are taken for steady."""
OVERHANG_PARTS = (1.2, 1.35, 1.5)
"""Where long lines are looked for, in lengths of the short ones from the spine."""
LEAST_INK = 0.25
"""Of the usual contrast: red on black or green is as pale in grey; fainter lines are worn, or
lost in noise (judgement, no source)."""
LONG_SHARE = 0.7
"""Share of the numbered lines that is surely seen at full length."""
QUANTISED = 0.5
"""Standard deviation of the places between lines at least [grey levels]."""
WIDE, NARROW, MORE_LINES = 25.0, 10.0, 1.05
"""Lines seen over so many divisions are no columns beside tubes (3 to 12 divisions each, two
of them at most in a plane). Narrower ones must be more in number than those of the columns in
the same picture; what is found of columns when looking for boards is 6 divisions wide at most
(98 photos and renders)."""
RIVAL_SHARE = 0.4
"""Dark and light lines are compared when the fewer are at least this share of the more."""
THICK_SIGMA_PX, LEAST_THICK_PITCH_PX, SINGLE_SHARE = 1.6, 8.0, 0.05
"""Lines of up to 6 px answer once under such a Gaussian, and lines so far apart keep half of
their contrast; SINGLE_SHARE is half of what is missing where every tenth line is too thick."""
BEYOND_END_PX = 4.0
"""Ends are found within 2 px; as much again clears the blur."""
MANY, CLEARLY_SINGLE = 40, -0.05
"""Dark lines, this many and with long ones standing alone, are print: light ones need not be
looked for."""
NOT_PAIRED, CLEARLY_ON_BOARD = 0.03, 0.8
"""Gaps pair by 0.07 or more; gaps and their multiples that end on the board pair by 0.28."""
PARTLY_ON_BOARD = 0.3
"""Light lines without as many dark ones beside them count where they are clearly print, or
columns that end on the board so far: of 19 light prints all did (0.33 and more), of 3 light
lines that were gaps none (200 photos and renders, of graph paper too).
Contrast at the ends from which on lone long lines make lines print at once. Gaps between
light lines had 0.05 where their lengths were mistaken; dark print has 0.36 and more (30 photos
and renders)."""
PAIRING_WEIGHT = 5.0
STRENGTH_WEIGHT = 5.0
"""A tenth more bend of the brightness weighs like half of the contrast at the ends."""


GREEN, RED = 1, 2
"""Channels of a picture. Green has the least noise and shows black, brown and red ink; in red
light green ink is as dark, and wood brighter."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WorkingImage:
    """The picture reduced by ``factor`` (1 for pictures that are small enough).

    Attributes
    ----------
    bgr : ndarray, shape (h, w, 3), uint8
    factor
        Pixels of the full picture per pixel here.
    """

    bgr: NDArray[np.uint8]
    factor: float
    full_size_px: tuple[int, int]
    """Width and height of the full picture."""
    channel: int = GREEN

    @property
    def searched(self) -> NDArray[np.uint8]:
        """The channel that scales and numbers are looked for in, shape (h, w)."""
        return np.asarray(cv2.extractChannel(self.bgr, self.channel), np.uint8)


def full_size(bgr: NDArray[np.uint8]) -> WorkingImage:
    """Return the picture as it is."""
    height, width = bgr.shape[:2]
    return WorkingImage(bgr=bgr, factor=1.0, full_size_px=(width, height))


def working_image(bgr: NDArray[np.uint8]) -> WorkingImage:
    """Reduce a picture to the search size by area averages."""
    height, width = bgr.shape[:2]
    factor = search_factor((width, height))
    if factor == 1:
        return full_size(bgr)
    return WorkingImage(
        bgr=averaged(bgr, factor), factor=float(factor), full_size_px=(width, height)
    )


def working_copy(picture: Picture) -> WorkingImage:
    """Copy of a photo at the search size."""
    if picture.reduced is None:
        return working_image(picture.bgr)
    factor = picture.size_px[0] / picture.reduced.shape[1]
    return WorkingImage(bgr=picture.reduced, factor=factor, full_size_px=picture.size_px)


def reduced(working: WorkingImage, times: float) -> WorkingImage:
    """Reduce a picture further, by the whole part of ``times``; by area averages."""
    factor = int(times)
    if factor <= 1:
        return working
    return replace(working, bgr=averaged(working.bgr, factor), factor=working.factor * factor)


def find_scales(
    working: WorkingImage, *, boards: bool = True, local_noise: bool = False
) -> tuple[tuple[Comb, ...], ...]:
    """Find graduated scales, dark or light on their board.

    Parameters
    ----------
    boards
        Whether lines over a whole board are looked for too; they hide the columns before
        them.
    local_noise
        Whether faint lines on a quiet board count in a picture full of strong ones.

    Returns
    -------
    tuple of tuple of Comb
        Groups of columns with one index, most graduations first, in pixels of the full
        picture.
    """
    grey = working.searched
    found: list[tuple[tuple[Comb, ...], ...]] = []
    for dark in (True, False):
        groups = _groups(grey, dark=dark, boards=boards, local_noise=local_noise)
        clear = bool(groups) and _is_clearly_print(grey, groups)
        # Where dark lines merge or are too thin the gaps between them are all that is found:
        # what has no dark lines as many to be compared with must be print by itself.
        compared = dark or _size(groups) <= MORE_LINES * _size(found[0])
        believed = compared or clear or _ends_there(grey, groups)
        found.append(groups if believed else ())
        if _size(groups) >= MANY and clear:
            break
    most = max(_size(groups) for groups in found)
    enough = [groups for groups in found if groups and _size(groups) >= RIVAL_SHARE * most]
    if not enough:
        return ()
    best = enough[0]
    if len(enough) > 1:
        best = max(enough, key=lambda groups: _likeness_to_print(grey, groups))
    return _all_enlarged(best, working.factor)


def find_lines(working: WorkingImage, *, dark: bool) -> tuple[tuple[Comb, ...], ...]:
    """Find columns of dark or of light lines, which may be the gaps between others.

    Returns
    -------
    tuple of tuple of Comb
        As ``find_scales`` does.
    """
    groups = _groups(working.searched, dark=dark, boards=True, local_noise=False)
    return _all_enlarged(groups, working.factor)


def _all_enlarged(
    groups: tuple[tuple[Comb, ...], ...], factor: float
) -> tuple[tuple[Comb, ...], ...]:
    return tuple(tuple(enlarged(comb, factor) for comb in group) for group in groups)


def _groups(
    grey: NDArray[np.uint8], *, dark: bool, boards: bool, local_noise: bool
) -> tuple[tuple[Comb, ...], ...]:
    """Find the scales of one polarity: lines over the whole board, or columns of lines."""
    found = _found(grey, dark=dark, boards=boards, local_noise=local_noise)
    return tuple(tuple(replace(comb, dark=dark) for comb in group) for group in found)


def _found(
    grey: NDArray[np.uint8], *, dark: bool, boards: bool, local_noise: bool
) -> tuple[tuple[Comb, ...], ...]:
    ink = Ink(grey=grey, dark=dark)
    thin = _by_ridges(ink, find_ridges(grey, dark=dark, local=local_noise), boards)
    if thin and not _lacks_single_lines(thin[0]):
        return thin
    ridges = find_ridges(grey, dark=dark, local=local_noise, sigma_px=THICK_SIGMA_PX)
    thick = _by_ridges(ink, ridges, boards)
    return thick if _size(thick) > MORE_LINES * _size(thin) else thin


def _lacks_single_lines(group: tuple[Comb, ...]) -> bool:
    """Whether lines far apart lack single ones: numbered ones may be too thick to be found."""
    fullest = max(group, key=lambda comb: len(comb.index))
    if fullest.parts or fullest.pitch_px < LEAST_THICK_PITCH_PX:
        return False
    single = np.count_nonzero(np.diff(fullest.index) == 2)
    return bool(single > SINGLE_SHARE * np.ptp(fullest.index))


def _by_ridges(ink: Ink, ridges: Ridges, boards: bool) -> tuple[tuple[Comb, ...], ...]:
    grey = ink.grey
    segments = segments_of(ridges)
    board = find_board(grey, ridges, segments) if boards else None
    width = board_width(board) if board is not None else 0.0
    if board is not None and width >= WIDE:
        rest = _beside(board, ridges, segments)
        other = find_board(grey, *rest)
        return ((board,), *(_columns(rest[1], ink) if other is None else ((other,),)))
    groups = _with_overhang(grey, _columns(segments, ink))
    if board is None or width < NARROW:
        return groups
    fuller = not groups or (
        len(board.index) > MORE_LINES * _size(groups) and not _is_one_of_several(board, groups)
    )
    return ((board,), *groups) if fuller else groups


def _columns(segments: Segments, ink: Ink) -> tuple[tuple[Comb, ...], ...]:
    return join_combs(find_combs(segments, ink))


def _is_one_of_several(board: Comb, groups: tuple[tuple[Comb, ...], ...]) -> bool:
    """Whether columns that keep step stand over twice the width of what passes for a board:
    it is one of several strips then, between tubes of a bank."""
    left, right = _span((board,))
    full = tuple(c for c in groups[0] if 2 * len(c.index) > len(board.index))
    if not full:
        return False
    first, last = _span(full)
    return last - first > 2 * (right - left)


def _span(combs: tuple[Comb, ...]) -> tuple[float, float]:
    """Where lines begin and end in the picture, the middle one of each column [px]."""
    left = min(median_of_row(comb.lines.left) for comb in combs)
    return left, max(median_of_row(comb.lines.right) for comb in combs)


def _beside(board: Comb, ridges: Ridges, segments: Segments) -> tuple[Ridges, Segments]:
    """Leave what lies left and right of a board whose lines run over all of it."""
    reach = NARROW * board.pitch_px
    left = median_of_row(board.lines.left) - reach
    right = median_of_row(board.lines.right) + reach
    crest = (ridges.x < left) | (ridges.x > right)
    rest = ridges_of(
        ridges.x[crest],
        ridges.y[crest],
        ridges.strength[crest],
        ridges.label[crest],
        ridges.count,
    )
    return rest, segments.take(np.flatnonzero((segments.x < left) | (segments.x > right)))


def _with_overhang(
    grey: NDArray[np.uint8], groups: tuple[tuple[Comb, ...], ...]
) -> tuple[tuple[Comb, ...], ...]:
    return tuple(
        tuple(replace(comb, overhang=_overhang(grey, comb)) for comb in group)
        for group in groups
    )


def _is_clearly_print(grey: NDArray[np.uint8], groups: tuple[tuple[Comb, ...], ...]) -> bool:
    pairing = _pairing(groups)
    ends = max(_ends_on_board(grey, comb) for comb in groups[0])
    # Lines of one length tell nothing by their neighbours: then both ends must be on board.
    return (pairing < CLEARLY_SINGLE and ends >= PARTLY_ON_BOARD) or (
        pairing < NOT_PAIRED and ends >= CLEARLY_ON_BOARD
    )


def _ends_there(grey: NDArray[np.uint8], groups: tuple[tuple[Comb, ...], ...]) -> bool:
    """Whether lines of columns end on the board; those over a whole board do so nowhere."""
    columns = [comb for comb in groups[0] if not comb.parts]
    ends = max((_ends_on_board(grey, comb) for comb in columns), default=-1.0)
    return ends >= PARTLY_ON_BOARD


def _pairing(groups: tuple[tuple[Comb, ...], ...]) -> float:
    """Least correlation of neighbours' overhang among the columns of the best group."""
    return min(
        _neighbour_product(comb.overhang)
        if comb.parts
        else _neighbour_correlation(comb.overhang)
        for comb in groups[0]
    )


def _neighbour_product(emphasis: NDArray[np.float64] | None) -> float:
    """Whether lines that stand out do so singly: below 0, or in pairs: above.

    Mean product of neighbours over the mean square, of what is positive: 0 for single lines,
    1/2 for pairs, 1/pi for noise.
    """
    if emphasis is None or not (emphasis > 0).any():
        return 0.0
    positive = np.maximum(emphasis, 0.0)
    return float(np.mean(positive[1:] * positive[:-1]) / np.mean(positive**2) - 1 / np.pi)


def _neighbour_correlation(overhang: NDArray[np.float64] | None) -> float:
    if overhang is None or np.ptp(overhang) == 0:
        return 0.0
    # Tubes and shadows beside the scale change slowly along it: only neighbours matter.
    overhang = overhang - median_filter(overhang, size=OVERHANG_TREND, mode="nearest")
    low, high = np.quantile(overhang, [0.01, 0.99])
    clipped = np.clip(overhang, low, high)
    return float(np.corrcoef(clipped[:-1], clipped[1:])[0, 1]) if np.ptp(clipped) else 0.0


def _overhang(
    grey: NDArray[np.uint8], comb: Comb, divisions: float = 0.0
) -> NDArray[np.float64]:
    """Contrast of each line with its sides, beyond where short lines end.

    Lengths of found lines err where numerals touch them or neighbours blur together; the
    picture at the place where only long lines reach does not. ``divisions`` moves the places
    that are looked at down along the scale.
    """

    def contrast_at(part: float) -> NDArray[np.float64]:
        (x,) = _overhang_at(comb, (part,))
        return contrast_of_lines(grey, comb, x, divisions)

    overhang = sum(contrast_at(part) for part in OVERHANG_PARTS) / len(OVERHANG_PARTS)
    return np.asarray(overhang * _paleness(contrast_at(0.5 * OVERHANG_PARTS[0])))


def overhang_places(comb: Comb) -> NDArray[np.float64]:
    """Where the overhang of each line is looked at, as pixels across: (places, lines)."""
    return _overhang_at(comb, OVERHANG_PARTS)


def _overhang_at(comb: Comb, parts: Sequence[float]) -> NDArray[np.float64]:
    """Where each line would reach, were it as long as so many short ones: (parts, lines)."""
    short = float(np.quantile(comb.lines.length, SHORT_QUANTILE))
    way = 1.0 if comb.side == "left" else -1.0
    return np.asarray(comb.spine_x + way * short * np.array(parts)[:, None])


def _paleness(contrast: NDArray[np.float64]) -> NDArray[np.float64]:
    """By how much the usual line stands out more than each: numbered lines, say, may be red
    among black ones. Of lines hardly seen nothing is known."""
    usual = float(np.median(contrast))
    seen = contrast > LEAST_INK * usual
    pale = np.divide(usual, contrast, where=seen & (contrast < usual), out=np.ones(len(seen)))
    return np.asarray(pale if usual > 0 else np.ones(len(seen)))


def contrast_of_lines(
    grey: NDArray[np.uint8], comb: Comb, x: NDArray[np.float64], divisions: float = 0.0
) -> NDArray[np.float64]:
    """Contrast of each line, carried on to ``x``, with its sides; more where it goes on there.

    ``divisions`` moves the places that are looked at down along the scale.
    """
    lines = comb.lines
    # One line's slope is noisy; slopes change slowly along a scale.
    slope = np.polyval(np.polyfit(lines.y, lines.slope, 1), lines.y)
    half = 0.5 * comb.pitch_px
    y = lines.y + slope * (x - lines.x) + divisions * comb.pitch_px
    found = sample_between(grey, x, y) - 0.5 * (
        sample_between(grey, x, y - half) + sample_between(grey, x, y + half)
    )
    # Half a division away another line may stand that was not found.
    aside = 0.5 * sum(sample_between(grey, lines.x, lines.y + d) for d in (0.5 * half, half))
    sign = np.sign(median_of_row(sample_between(grey, lines.x, lines.y) - aside))
    return np.asarray(sign * found)


def long_between(
    working: WorkingImage,
    combs: tuple[Comb, ...],
    numbered_every: int,
    figures: Sequence[NDArray[np.float64]] = (),
) -> float:
    """Share of the gaps between a scale's lines in which a long line stands.

    None does on a scale seen well. Of one whose divisions are too fine for the picture every
    other line may be found, and the long ones lie as often between those: 0.12 and 0.20 on
    photos reduced to 2 px a division, 0.00 on 24 columns of 2.8 px and more. That column is
    asked whose long lines stand out most.

    Parameters
    ----------
    working
        What the columns were found in.
    combs
        Columns of one index, in pixels of the full picture.
    numbered_every
        Lines from one number to the next: as seldom at least lines are long.
    figures
        Corners (4, 2) of each number in the picture searched: their strokes are no lines.
    """
    best, share = 0.0, 0.0
    for comb in combs:
        small = with_every_line(enlarged(comb, 1 / working.factor))
        on_lines = _overhang(working.searched, small)
        long = float(np.quantile(on_lines, 1 - LONG_SHARE / numbered_every))
        between = _overhang(working.searched, small, divisions=0.5)
        between = between[~_are_in_figures(small, figures)]
        if not len(between):
            continue
        noise = 1.4826 * float(np.median(np.abs(between - np.median(between))))
        contrast = long / max(noise, QUANTISED)
        if contrast > best:
            best, share = contrast, float(np.mean(between > 0.5 * long))
    return share


def are_every_other(working: WorkingImage, combs: tuple[Comb, ...]) -> bool:
    """Whether lines like those of the columns stand half-way between them all along.

    Thick lines among thin ones may be missed one and all, and the reverse. Parameters as for
    ``long_between``.
    """

    def contrast(comb: Comb, divisions: float) -> float:
        lines, quarter = comb.lines, 0.25 * comb.pitch_px
        y = lines.y + divisions * comb.pitch_px
        beside = sum(
            sample_between(working.searched, lines.x, y + d) for d in (-quarter, quarter)
        )
        return median_of_row(sample_between(working.searched, lines.x, y) - 0.5 * beside)

    def half_way(comb: Comb) -> bool:
        own = contrast(comb, 0.0)
        return float(np.sign(own)) * contrast(comb, 0.5) > 0.5 * abs(own)

    return any(half_way(with_every_line(enlarged(comb, 1 / working.factor))) for comb in combs)


def _are_in_figures(comb: Comb, figures: Sequence[NDArray[np.float64]]) -> NDArray[np.bool_]:
    """Which gaps of a column have a figure where `_overhang` looks for a long line.

    The gap is half a division down from its line, and compared with as much either way.
    """
    x, pitch = overhang_places(comb), comb.pitch_px
    hit = np.zeros(len(comb.index), bool)
    for box in figures:
        (left, top), (right, bottom) = box.min(axis=0), box.max(axis=0)
        beside = (x.max(axis=0) >= left - pitch) & (x.min(axis=0) <= right + pitch)
        hit |= beside & (comb.lines.y >= top - pitch) & (comb.lines.y <= bottom)
    return hit


def with_every_line(comb: Comb) -> Comb:
    """Give a column a line at every index from its first to its last.

    Long lines that end elsewhere on both sides may be missing from a column of short ones.
    """
    if comb.filling == 1.0:
        return comb
    every = np.arange(comb.index[0], comb.index[-1] + 1)
    lines = comb.lines

    def at_every(values: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.asarray(np.interp(every, comb.index, values))

    filled = Segments(
        x=at_every(lines.x),
        y=at_every(lines.y),
        slope=at_every(lines.slope),
        left=at_every(lines.left),
        right=at_every(lines.right),
        strength=at_every(lines.strength),
    )
    return replace(comb, index=every, lines=filled)


def sample_between(
    grey: NDArray[np.uint8], x: NDArray[np.float64], y: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Sample with linear interpolation."""
    found = cv2.remap(
        grey,
        x.astype(np.float32)[None, :],
        y.astype(np.float32)[None, :],
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return np.asarray(found[0], np.float64)


def _size(groups: tuple[tuple[Comb, ...], ...]) -> int:
    return max(len(comb.index) for comb in groups[0]) if groups else 0


def _likeness_to_print(grey: NDArray[np.uint8], groups: tuple[tuple[Comb, ...], ...]) -> float:
    """How much the lines look like print and not like the gaps between print.

    Gaps between dark lines are light lines, as evenly spaced. But a long line stands alone
    among short ones, while the gaps on both of its sides are long together; lines are thinner
    than their gaps, so they bend the brightness more; and lines end on the board, while a gap
    goes on into it. The first tells nearly always (correlation of neighbours -0.5 to -0.1 for
    print, 0.1 to 0.4 for gaps, on 140 sample photos and renders), the others where all lines
    are of one length.
    """
    ends = max(_ends_on_board(grey, comb) for comb in groups[0])
    strength = max(median_of_row(comb.lines.strength) for comb in groups[0])
    return ends + STRENGTH_WEIGHT * float(np.log(strength)) - PAIRING_WEIGHT * _pairing(groups)


def _ends_on_board(grey: NDArray[np.uint8], comb: Comb) -> float:
    """Return the contrast of lines against beyond their ends, over that against beside them.

    About 1 for print, 0 for gaps; the mean of both ends, as a tube or the rim of a strip may
    be next to one.
    """
    lines = comb.lines
    half = 0.5 * comb.pitch_px
    on_line = nearest_grey(grey, lines.x, lines.y)
    beside = 0.5 * (
        nearest_grey(grey, lines.x, lines.y - half)
        + nearest_grey(grey, lines.x, lines.y + half)
    )
    contrast = float(np.median(beside - on_line))
    if contrast == 0.0:
        return 0.0
    ends = [
        float(np.median(nearest_grey(grey, x, lines.y_at(x)) - on_line)) / contrast
        for x in (lines.left - BEYOND_END_PX, lines.right + BEYOND_END_PX)
    ]
    return float(np.mean(np.clip(ends, -1.0, 2.0)))


def enlarged(comb: Comb, factor: float) -> Comb:
    """Carry a column to a picture so many times larger."""
    if factor == 1.0:
        return comb
    lines = comb.lines

    def there(position: NDArray[np.float64]) -> NDArray[np.float64]:
        # Pixel centres: the first pixel covers -0.5 to 0.5 at any size.
        return (position + 0.5) * factor - 0.5

    large = Segments(
        x=there(lines.x),
        y=there(lines.y),
        slope=lines.slope,
        left=there(lines.left),
        right=there(lines.right),
        strength=lines.strength,
    )
    return replace(
        comb,
        lines=large,
        residual_px=comb.residual_px * factor,
        found_px=comb.found_px * factor,
        parts=tuple(enlarged(part, factor) for part in comb.parts),
    )
