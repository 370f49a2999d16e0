"""Which graduation is which: the found columns against the scale the instrument file states.

Three things speak: where the columns end (the file says how many graduations there are),
which lines are long (numbered ones are), and, handed in from outside, the printed numbers.
Each is a log-likelihood over the shift of the index; the best shift counts only with a
margin over the second.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import xlogy

from limbsight.calib.instrument import ScaleSpec
from limbsight.errors import NotMeasurable
from limbsight.vision.comb import GROWN, SHORT_QUANTILE, Comb
from limbsight.vision.quantiles import median_of_row

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

STRAY_RATE = 0.02
"""Chance that a place beyond the end of a scale shows a line in step and in line with it: the
phase window (a quarter division) times the share of the board's lines that end on the spine,
seen about once in fifty places on photos of brick walls."""
MISSED_RATE = 0.1
"""Chance that a graduation of the scale is not found: one in ten on ordinary photos (clips,
numerals and shadow over it), measured over the sample photos."""
MIN_LEAD = 4.6
"""Log-odds of a joined column's place over the next: ln 100; a mistake would also show as
an uneven map."""
MAX_LEAD = 4.0
"""Standard deviations that a line is believed to stand out: more would let a numeral that
touches the neighbours decide between them."""
MOST_STANDING = 6.9
"""What numbered lines that stand out on a board may claim together: ln 1000.  They may all be
wrong at once: figures that touched the line beside theirs on one side of a dark board passed
for longer lines, and all of its levels were read one division off.  Of 108 other photos of
boards and graph paper all but one are read as before, that one as near."""
MANY_LONG, MORE_LONG = 0.25, 1.5
"""Share of long lines, and of the numbered ones', from which on they are not those alone
(judgement, no source)."""
APART, MISTAKEN_LENGTH = 6.0, 0.05
"""Spreads by which two lengths differ that are two; and chance that a line shows the wrong one
of them, where a figure, a clip or a shadow touches it (judgement, no source)."""
STROKES_APART, STROKE_SHARE = (2, 4), 0.25
"""Divisions between the lines that the topmost and the lowest strokes of one figure touch, and
share of the most that stands out beyond lines from which on others stand out as well
(judgement; on one board of 83 half a column was numbered a division off)."""
TENTH = 10
"""Where numbers are farther apart every tenth line is long, numbered or not: metre sticks and
graph paper are numbered every two or five centimetres (common practice, no source)."""
MOST_STRAYS = 0.05
"""Share of a column's lines, beyond two of them, that may lie outside a scale whose figures
are not read. Graph paper of 213 lines passed for a scale of 201 at a tenth (35 mm off)."""
TRIED_ERRORS = 3.5
"""Standard errors of its joint up to which a joined column is tried at other whole divisions:
one in 2000 normal errors lies beyond, and the price there, 6.1, is more than ``MIN_LEAD``."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Indexing:
    """How the found indices map to the graduations of the scale.

    Attributes
    ----------
    shifts
        For each comb, what to add to its index to get the number of the graduation, 0 the
        lowest in the picture; None for a comb whose place beside the first is in doubt.
    margin
        Log-odds of this numbering over the next best.
    """

    shifts: tuple[int | None, ...]
    margin: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LineEvidence:
    """What the lines themselves say, before any numeral: log-likelihood by shift and comb.

    Attributes
    ----------
    by_comb
        Of the ends and the lengths.
    missed
        Of what is missing, half of which is claimed until the figures bear it out.
    """

    shifts: IntArray
    by_comb: tuple[FloatArray, ...]
    missed: tuple[FloatArray, ...]

    def claimed(self, *, with_figures: bool) -> tuple[FloatArray, ...]:
        """Return what may be claimed for each comb, alone or beside figures."""
        share = 1.0 if with_figures else 0.5
        return tuple(
            said + share * gone for said, gone in zip(self.by_comb, self.missed, strict=True)
        )


def line_evidence(combs: tuple[Comb, ...], scale: ScaleSpec) -> LineEvidence:
    """Weigh every shift by the scale's ends and its hierarchy."""
    count = graduation_count(scale)
    first = min(int(comb.index[0]) for comb in combs)
    last = max(int(comb.index[-1]) for comb in combs)
    reach = max(int(np.ceil(TRIED_ERRORS * comb.index_error)) for comb in combs)
    shifts = np.arange(-last - reach, count - first + reach)
    return LineEvidence(
        shifts=shifts,
        by_comb=tuple(
            _ends_score(comb, shifts, count) + _hierarchy_score(comb, shifts, scale)
            for comb in combs
        ),
        missed=tuple(_missed_score(comb, shifts, scale) for comb in combs),
    )


def index_scale(
    combs: tuple[Comb, ...],
    scale: ScaleSpec,
    numerals: dict[int, float] | None = None,
    lines: LineEvidence | None = None,
    *,
    longer: bool = False,
) -> Indexing:
    """Find the shifts that fit the scale's ends, its hierarchy and its numerals.

    Parameters
    ----------
    combs
        Columns of one scale; indices agree up to ``index_error``.
    scale
        What the instrument file states.
    numerals
        Log-likelihood by shift of the first comb from the printed numbers, where read.
    lines
        What ``line_evidence`` said of these combs, if that is known already.
    longer
        Whether more graduations in a row than the file states are allowed.

    Returns
    -------
    Indexing

    Raises
    ------
    NotMeasurable
        ``scale_differs_from_file``: more graduations in a row than the file states.
    """
    count = graduation_count(scale)
    lines = line_evidence(combs, scale) if lines is None else lines
    shifts, own = lines.shifts, lines.claimed(with_figures=numerals is not None)
    total = own[0].copy()
    if numerals is not None:
        floor = min(numerals.values(), default=0.0)
        total += np.array([numerals.get(int(s), floor) for s in shifts])
    joined = [_coupled(comb, score) for comb, score in zip(combs[1:], own[1:], strict=True)]
    as_joined = total + sum((other.at_joint for other in joined), np.zeros(len(shifts)))
    total += sum((other.best for other in joined), np.zeros(len(shifts)))
    top = int(np.argmax(total))
    others = np.delete(total, top)
    margin = float(total[top] - others.max()) if len(others) else np.inf
    if int(np.argmax(as_joined)) != top:
        # One column is sure of another place than the others, and would have to be off.
        margin = 0.0
    start = int(shifts[top])
    found: list[int | None] = [start]
    # A column whose place beside the first is in doubt is left out, not guessed.
    found += [
        start + int(other.step[top]) if other.lead[top] >= MIN_LEAD else None
        for other in joined
    ]
    if not longer:
        check_length(combs, found, count)
    return Indexing(shifts=tuple(found), margin=margin)


class _Coupled(NamedTuple):
    """A joined comb's scores for each shift of the first.

    Attributes
    ----------
    best, step, lead
        The best, the whole divisions to it from that shift, and its lead over the next.
    at_joint
        That where the joint has it.
    """

    best: FloatArray
    step: IntArray
    lead: FloatArray
    at_joint: FloatArray


def _coupled(comb: Comb, score: FloatArray) -> _Coupled:
    """Score a joined comb beside the first.

    The joint leaves ``index_offset`` over a whole number of divisions, with a normal error of
    ``index_error``; a column may stand off by whole divisions at that price.
    """
    reach = int(np.ceil(TRIED_ERRORS * comb.index_error))
    steps = np.arange(-reach, reach + 1)
    price = 0.5 * ((comb.index_offset - steps) / comb.index_error) ** 2
    padded = np.pad(score, reach, constant_values=-np.inf)
    table = np.stack(
        [
            padded[reach + k : reach + k + len(score)] - p
            for k, p in zip(steps, price, strict=True)
        ]
    )
    order = np.argsort(-table, axis=0)
    ranked = np.take_along_axis(table, order, axis=0)
    lead = ranked[0] - ranked[1] if len(steps) > 1 else np.full(len(score), np.inf)
    at_joint = table[int(np.argmin(price))]
    return _Coupled(best=ranked[0], step=steps[order[0]], lead=lead, at_joint=at_joint)


def graduation_count(scale: ScaleSpec) -> int:
    """Return the number of graduations the instrument file states."""
    return round((scale.highest - scale.lowest) / scale.division) + 1


def heights_of(index: IntArray, shift: int, scale: ScaleSpec) -> FloatArray:
    """Return the height of each graduation in scale units, growing upward from ``lowest``.

    For scales numbered upward this is the scale value; see ``value_of_height``.
    """
    return np.asarray(scale.lowest + (index + shift) * scale.division)


def value_of_height(height: float, scale: ScaleSpec) -> float:
    """Return the signed scale value at a height (they differ on scales numbered downward)."""
    if scale.numbers == "downward":
        return scale.lowest + scale.highest - height
    return height


def is_numbered(number: IntArray, scale: ScaleSpec) -> NDArray[np.bool_]:
    """Return which graduations carry a numeral, by their number from the lowest."""
    height = heights_of(number, 0, scale)
    value = scale.lowest + scale.highest - height if scale.numbers == "downward" else height
    steps = value / scale.numbered_every
    return np.abs(steps - np.round(steps)) < 0.1 * scale.division / scale.numbered_every


def _ends_score(comb: Comb, shifts: IntArray, count: int) -> FloatArray:
    """Log-likelihood of found and missing graduations, from both ends of the scale."""
    number = comb.index[:, None] + shifts[None, :]
    inside = (number >= 0) & (number < count)
    found = inside.sum(axis=0)
    stray = len(comb.index) - found
    missed = count - found
    return np.asarray(
        found * np.log1p(-MISSED_RATE)
        + missed * np.log(MISSED_RATE)
        + stray * np.log(STRAY_RATE)
    )


def _hierarchy_score(comb: Comb, shifts: IntArray, scale: ScaleSpec) -> FloatArray:
    """Log-likelihood of the lines' lengths: numbered ones have a length of their own."""
    period = round(scale.numbered_every / scale.division)
    phases = np.mod(shifts, period)
    comb = _clear_of_strokes(comb, period)
    gain, long = _gain_of(comb), _LongLines(comb, period)
    gains, weights = np.zeros(period), np.zeros(period)
    for phase in np.unique(phases):
        numbered = is_numbered(comb.index + phase, scale)
        gains[phase] = max(gain(numbered), long.gain(numbered))
        weights[phase] = _weight_gain(comb, numbered)
    if comb.parts:
        gains = np.minimum(gains, MOST_STANDING)
    return np.asarray((gains + weights)[phases])


def _missed_score(comb: Comb, shifts: IntArray, scale: ScaleSpec) -> FloatArray:
    """Log-likelihood of the lines that one place of every numbered step alone is without.

    Lines missed by chance are missed anywhere. Where a column is made of the free ends of the
    short lines, the long ones, which end elsewhere, are missed one and all, and figures that
    touch lines beside them pass for long ones. Of 298 columns on 170 photos five were without
    one place alone, the numbered one each time.
    """
    missed = place_missed(comb, round(scale.numbered_every / scale.division))
    if missed is None:
        return np.zeros(len(shifts))
    place, gain = missed
    return np.where(is_numbered(place + shifts, scale), gain, 0.0)


def place_missed(comb: Comb, period: int) -> tuple[int, float] | None:
    """Index of lines that are missed one and all, and the gain in log-likelihood by that.

    ``period`` is how many divisions numbered lines are apart. None where no place is.
    """
    every = np.arange(comb.index[0], comb.index[-1] + 1)
    there = np.bincount(every % period, minlength=period)
    if comb.parts or period < 2 or there.min() < 2:
        return None
    found = np.bincount(comb.index % period, minlength=period)
    fewest, next_fewest = np.argsort(found / there, kind="stable")[:2]
    if 2 * found[fewest] > there[fewest]:
        return None
    gain = _one_rate_less(
        (int(found[fewest]), int(there[fewest])),
        (int(found[next_fewest]), int(there[next_fewest])),
    )
    return int(fewest), gain


def without_grown_lines(comb: Comb, scale: ScaleSpec) -> Comb:
    """Return a column without its long lines less those that touch a figure.

    Such lines have grown, and strokes of the figure tilt them: by that a level was 0.24 mm off
    at u 0.07. Other columns are returned as they are.
    """
    missed = place_missed(comb, round(scale.numbered_every / scale.division))
    if missed is None or missed[1] < MIN_LEAD:
        return comb
    length = comb.lines.length
    return _with_lines(comb, length <= GROWN * np.quantile(length, SHORT_QUANTILE))


LEAST_LEFT = 3
"""Lines that make a column."""


def within_scale(comb: Comb, shift: int, count: int) -> Comb:
    """Return a column without lines beyond the ends of its scale: frames, edges of the board.

    One at the end of a steel rule turned the map of a lone column about it, and a level was
    1.4 mm off. Lines over a whole board are returned as they are: graph paper goes on.
    """
    number = comb.index + shift
    there = (number >= 0) & (number < count)
    if comb.parts or there.all() or there.sum() < LEAST_LEFT:
        return comb
    return _with_lines(comb, there)


def _with_lines(comb: Comb, which: NDArray[np.bool_]) -> Comb:
    overhang = None if comb.overhang is None else comb.overhang[which]
    return replace(
        comb, index=comb.index[which], lines=comb.lines.take(which), overhang=overhang
    )


def _one_rate_less(one: tuple[int, int], other: tuple[int, int]) -> float:
    """Gain in log-likelihood when two counts, found of there, have rates of their own."""

    def likelihood(found: int, there: int) -> float:
        return float(xlogy(found, found / there) + xlogy(there - found, 1 - found / there))

    together = one[0] + other[0], one[1] + other[1]
    return likelihood(*one) + likelihood(*other) - likelihood(*together)


def hierarchy_gain(comb: Comb, numbered: NDArray[np.bool_], period: int = 0) -> float:
    """Return how much likelier the lines' lengths and weights are if these are the numbered
    ones.

    ``period`` is how many divisions those are apart. Negative where they are short ones.
    """
    comb = _clear_of_strokes(comb, period)
    long = _LongLines(comb, period)
    gain = _gain_of(comb)(numbered)
    gain = max(gain, long.gain(numbered)) if long.among else gain
    return gain + _weight_gain(comb, numbered)


def _clear_of_strokes(comb: Comb, period: int) -> Comb:
    """Return a column without what stands out beyond its lines where that are strokes.

    The topmost and lowest strokes of figures about as high as two lines are apart, or four,
    stand beside the lines next to the numbered one: lines at just two places of every numbered
    step stand out then, as far below that one as above it.
    """
    if comb.overhang is None or comb.parts or period <= STROKES_APART[0]:
        return comb
    place = comb.index % period
    if np.bincount(place, minlength=period).min() < 2:
        return comb
    usual = np.array([np.median(comb.overhang[place == k]) for k in range(period)])
    rest = float(np.median(usual))
    strokes = np.flatnonzero(usual > rest + STROKE_SHARE * (usual.max() - rest))
    if len(strokes) != 2:
        return comb
    apart = int(np.diff(strokes)[0])
    apart = min(apart, period - apart)
    beside_one = apart in STROKES_APART and 2 * apart < period
    return replace(comb, overhang=None) if beside_one else comb


class _LongLines:
    """The gain where every tenth line is long, and those of them that are numbered longer.

    Of lines numbered every fiftieth, too few tell their place.
    """

    def __init__(self, comb: Comb, period: int) -> None:
        self.comb = comb
        self.among = period > TENTH and period % TENTH == 0
        self.gains: dict[int, float] = {}

    def gain(self, numbered: NDArray[np.bool_]) -> float:
        """Of these as the numbered ones; 0 where they are no rarer than every tenth."""
        if not self.among or not numbered.any():
            return 0.0
        index = self.comb.index
        place = int(index[int(np.argmax(numbered))]) % TENTH
        tenths = index % TENTH == place
        if place not in self.gains:
            self.gains[place] = _gain_of(self.comb)(tenths)
        overhang = self.comb.overhang
        rest = replace(
            self.comb,
            index=index[tenths],
            lines=self.comb.lines.take(tenths),
            overhang=None if overhang is None else overhang[tenths],
        )
        return self.gains[place] + _gain_of(rest)(numbered[tenths])


def _gain_of(comb: Comb) -> Callable[[NDArray[np.bool_]], float]:
    """Give ``hierarchy_gain`` of one comb for many choices of its numbered lines."""
    if comb.parts and comb.overhang is not None:
        return partial(_standing_gain, comb.overhang)
    length = comb.lines.length if comb.overhang is None else comb.overhang
    low, high = np.quantile(length, [0.02, 0.98])
    length = np.clip(length, low, high)
    long = length > 0.5 * (low + high)
    if _are_two_lengths(length, long):
        return partial(_gain_among_long, length, long)
    return partial(_split_gain, length, _scatter(length))


def _weight_gain(comb: Comb, numbered: NDArray[np.bool_]) -> float:
    """Gain in log-likelihood when numbered lines are drawn with another pen or ink.

    They look stronger, or weaker where they are thicker than the filter that finds lines. As
    for lengths half of it is claimed, and what two medians in place of one gain by chance is
    taken off (Schwarz 1978, half the logarithm of the count).
    """
    strength = comb.lines.strength
    if numbered.sum() < 2 or numbered.all():
        return 0.0
    _, gain = _of_two_medians(strength, _scatter(strength), numbered)
    return max(gain - 0.5 * math.log(len(strength)), 0.0)


def _are_two_lengths(length: FloatArray, long: NDArray[np.bool_]) -> bool:
    """Whether lines are long or short, and so many of them long that those are not
    the numbered ones alone."""
    if not MANY_LONG < np.mean(long) < 1.0 - MANY_LONG:
        return False
    one, other = (median_of_row(each) for each in (length[long], length[~long]))
    spread = 1.4826 * median_of_row(np.abs(length - np.where(long, one, other)))
    return one - other > APART * spread


def _gain_among_long(
    length: FloatArray, long: NDArray[np.bool_], numbered: NDArray[np.bool_]
) -> float:
    """Gain in log-likelihood when numbered lines are long, where every second line or so is.

    Each is long but for ``MISTAKEN_LENGTH``, of the others ``MANY_LONG`` and more are; and
    among the long ones those that are numbered may have a length of their own. Half of it is
    claimed, as for lengths.
    """
    if numbered.sum() < 2 or numbered.all():
        return 0.0
    share, right = float(np.mean(long)), int(np.sum(long & numbered))
    if share < MORE_LONG * np.mean(numbered):
        return _split_gain(length, _scatter(length), numbered)
    wrong = int(numbered.sum()) - right
    by_kind = 0.5 * (
        right * np.log((1.0 - MISTAKEN_LENGTH) / share)
        + wrong * np.log(MISTAKEN_LENGTH / (1.0 - share))
    )
    rest = length[long]
    return float(by_kind) + _split_gain(rest, _scatter(rest), numbered[long])


def _scatter(length: FloatArray) -> float:
    return float(np.sum((length - np.median(length)) ** 2)) + len(length)


def _standing_gain(standing: FloatArray, numbered: NDArray[np.bool_]) -> float:
    """Gain in log-likelihood when numbered lines stand out, given in standard deviations.

    Gaussian about the medians, n (lead / spread)^2 / 2; half of it is claimed, as for lengths.
    The spread is that of the other lines, robust against those of them that are as long.
    """
    if numbered.sum() < 2 or numbered.all():
        return 0.0
    others = standing[~numbered]
    usual = float(np.median(others))
    spread = max(1.4826 * float(np.median(np.abs(others - usual))), 1.0)
    lead = (float(np.median(standing[numbered])) - usual) / spread
    return 0.25 * int(numbered.sum()) * float(np.clip(lead, 0.0, MAX_LEAD)) ** 2


def _split_gain(length: FloatArray, whole: float, numbered: NDArray[np.bool_]) -> float:
    """Gain in log-likelihood when numbered lines get their own, greater length.

    Gaussian with common variance: n/2 ln(S_whole/S_split); half of it is claimed, since the
    lengths of neighbours fail together (numerals, clips).
    """
    if numbered.sum() < 2 or numbered.all():
        return 0.0
    lead, gain = _of_two_medians(length, whole, numbered)
    return gain if lead > 0.0 else 0.0


def _of_two_medians(
    values: FloatArray, whole: float, numbered: NDArray[np.bool_]
) -> tuple[float, float]:
    """Lead of the numbered lines' median, and half the gain by medians of their own."""
    inner, outer = values[numbered], values[~numbered]
    inner_usual, outer_usual = median_of_row(inner), median_of_row(outer)
    split = float(np.sum((inner - inner_usual) ** 2) + np.sum((outer - outer_usual) ** 2))
    gain = 0.25 * len(values) * math.log(whole / (split + len(values)))
    return inner_usual - outer_usual, gain


def check_length(combs: tuple[Comb, ...], shifts: Sequence[int | None], count: int) -> None:
    """Refuse columns with more graduations in a row than the file's ``count``.

    Raises
    ------
    NotMeasurable
        ``scale_differs_from_file``.
    """
    for comb, shift in zip(combs, shifts, strict=True):
        if shift is None:
            continue
        number = comb.index + shift
        stray = int(np.sum((number < 0) | (number >= count)))
        if stray > MOST_STRAYS * len(number) + 2:
            raise NotMeasurable(
                f"{len(number)} graduations follow each other in the picture but the "
                f"instrument file states {count}; check lowest, highest and division, or "
                "whether this photo shows another instrument",
                code="scale_differs_from_file",
            )
