"""Naming the graduations: where printed numbers are to be looked for, and what they say."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from limbsight.calib.camera import Frame
from limbsight.calib.indexing import (
    Indexing,
    LineEvidence,
    check_length,
    graduation_count,
    heights_of,
    index_scale,
    line_evidence,
    value_of_height,
    within_scale,
    without_grown_lines,
)
from limbsight.calib.instrument import ScaleSpec
from limbsight.calib.rectify import combs_across
from limbsight.calib.scale_fit import fit_scale_map
from limbsight.calib.scale_map import ScaleMap
from limbsight.errors import NotMeasurable
from limbsight.vision.comb import Comb
from limbsight.vision.figure_ink import figures_are_dark
from limbsight.vision.line_ink import with_ink
from limbsight.vision.long_lines import run_under, with_long_lines
from limbsight.vision.numeral_scores import OFFSET_FLOOR
from limbsight.vision.numerals import (
    DECISIVE_SHIFT_MARGIN,
    KNOWN_CLARITY,
    NumberingTable,
    NumeralVerdict,
    ScaleGeometry,
    bare_hypotheses,
    known_scale_hypotheses,
    read_numerals,
)

MIN_MARGIN = 13.8
"""Log-odds of the numbering over the next best, from the ends of the scale and the lengths of
its lines alone: ln 10^6, because both can be wrong together (a hidden end, a border taken for
a line) ..."""
MIN_MARGIN_WITH_NUMERALS = 6.9
"""... and ln 1000 where the printed numbers bear it out; where they stand so clearly beside
their graduations that they settle the place alone, their own bound holds."""
MAX_DISAGREEMENT = 1.0
"""Log-odds by which the figures may prefer another place than all evidence together: noise.
On 296 columns they never did; on two numbered a division off they did by 1.3 and 5.5."""
MAX_ON_LINE = MAX_DISAGREEMENT - OFFSET_FLOOR
"""The same where figures may stand on the line that the lines tell, not beside it: all that
their place can say."""
LEAST_EXACT = 2
"""Numbers that read as expected, from which on that is no chance."""
RULED_OUT = -1e3
"""Log-likelihood of what can't be."""
MIN_AGREEMENT = 0.5
MIN_IN_STEP = 4
"""Share of the labels that must bear the file out, and pairs of labels in step from which on
the rest is no chance reading: four times one in a hundred."""
SAME_STEP = 0.1
"""Steps of labels differ by less than this of themselves: those of other scales are twice as
large, or 1.25 times at least."""
EXTRA_GRADUATIONS = 3
"""Places beyond the found ends that are looked at, for numerals of missed graduations."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NamedScale:
    """Graduations with their numbers, and the map they make.

    Attributes
    ----------
    combs
        The columns used.
    shifts
        For each, what to add to its index to get the number of the graduation from the
        lowest in the picture.
    numbers_read
        Whether the printed numbers were read and bear the numbering out, so that the scale
        surely stands upright.
    ink_read
        Whether figures were seen to be of the same ink as the lines, which are then no gaps.
    place_read
        Whether the place of the figures alone settles which graduations they belong to.
    apart
        Divisions between the lines seen: more than one where short lines are not.
    rivals
        How many other graduated boards in the picture might have been meant.
    second_choice
        Whether columns with more lines, or none, were found but not understood.
    unplaced
        Columns beside those used whose numbers stay open: they show how far the board goes.
    """

    combs: tuple[Comb, ...]
    shifts: tuple[int, ...]
    map: ScaleMap
    numbers_read: bool
    ink_read: bool = False
    place_read: bool = False
    apart: int = 1
    rivals: int = 0
    second_choice: bool = False
    unplaced: tuple[Comb, ...] = ()


def name_graduations(
    grey: NDArray[np.uint8],
    factor: float,
    combs: tuple[Comb, ...],
    scale: ScaleSpec,
    frame: Frame,
    *,
    by_numbers: bool = False,
) -> NamedScale:
    """Number the graduations of a known scale and map it.

    Parameters
    ----------
    grey : ndarray, shape (h, w), uint8
        Picture to read the numerals in, ``factor`` times smaller than the full one.
    combs
        Columns of graduations in pixels of the full picture.
    by_numbers
        Refuse at once what the printed numbers do not settle.

    Raises
    ------
    NotMeasurable
        ``scale_ambiguous``, ``picture_turned``, ``picture_mirrored``, and what
        ``index_scale`` and ``fit_scale_map`` raise.
    """
    combs = with_ink(grey, factor, combs)
    lines = line_evidence(combs, scale)
    indexing = index_scale(combs, scale, lines=lines, longer=_may_be_longer(combs))
    scale_map = _map(combs, indexing, scale, frame)
    verdict = _read_known(grey, factor, combs, indexing, scale_map, scale)
    if by_numbers and (not verdict.decisive or are_strokes(verdict, combs, factor)):
        raise NotMeasurable("", code="scale_ambiguous")
    if verdict.decisive and verdict.stance == "turned":
        raise NotMeasurable("", code="picture_turned")
    if not verdict.decisive:
        check_length(combs, indexing.shifts, graduation_count(scale))
    if not verdict.decisive and _read_on_its_head(
        grey, factor, combs, indexing, scale_map, scale
    ):
        raise NotMeasurable("", code="picture_turned")
    if verdict.decisive and verdict.stance == "mirrored":
        raise NotMeasurable("", code="picture_mirrored")
    if verdict.decisive:
        spoken = _index_by_numbers(grey, factor, combs, scale, verdict, lines)
        if spoken.shifts != indexing.shifts:
            scale_map = _map(combs, spoken, scale, frame)
        indexing = spoken
    else:
        _check_not_contradicted(_said_of_shifts(combs, scale, verdict), indexing, verdict)
    ink_read = verdict.decisive and check_ink(grey, verdict, combs)
    _check_against_numerals(verdict, scale)
    geometry = _geometry(factor, combs, indexing, scale_map, scale)
    _check_as_if_unknown(verdict, grey, geometry, indexing.shifts[0] or 0, scale)
    if indexing.margin < _needed_margin(verdict):
        raise NotMeasurable("", code="scale_ambiguous")
    named = [
        (comb, shift)
        for comb, shift in zip(combs, indexing.shifts, strict=True)
        if shift is not None
    ]
    said = _said_of_shifts(combs, scale, verdict)
    return NamedScale(
        combs=tuple(comb for comb, _ in named),
        shifts=tuple(shift for _, shift in named),
        map=scale_map,
        numbers_read=verdict.decisive,
        ink_read=ink_read,
        place_read=verdict.graduation_decisive
        and indexing.shifts[0] == max(said, key=said.__getitem__),
        unplaced=tuple(
            comb for comb, shift in zip(combs, indexing.shifts, strict=True) if shift is None
        ),
    )


def lines_say_otherwise(
    grey: NDArray[np.uint8],
    factor: float,
    combs: tuple[Comb, ...],
    scale: ScaleSpec,
    shift: int,
) -> bool:
    """Whether the lines of columns, by length and by the scale's ends, are others than a shift
    of the first column's index has them: some that are a few divisions off, as those are that
    figures may belong to as well.

    Parameters are those of `name_graduations`.
    """
    combs = with_ink(grey, factor, combs)
    reach = round(0.5 * scale.numbered_every / scale.division)
    near = dict.fromkeys(range(shift - reach, shift + reach + 1), 0.0)
    # Shifts that are not named are as unlikely as the least likely one that is.
    near[shift + reach + 1] = RULED_OUT
    try:
        told = index_scale(combs, scale, near, longer=True)
    except NotMeasurable:
        return False
    return told.shifts[0] != shift and told.margin >= DECISIVE_SHIFT_MARGIN


def _may_be_longer(combs: tuple[Comb, ...]) -> bool:
    """Whether it is graph paper, which goes on beyond its numbers.

    They must say then where the scale is.
    """
    return bool(combs[0].parts)


def _index_by_numbers(
    grey: NDArray[np.uint8],
    factor: float,
    combs: tuple[Comb, ...],
    scale: ScaleSpec,
    verdict: NumeralVerdict,
    lines: LineEvidence,
) -> Indexing:
    """Index the lines by what the printed numbers say as well.

    Where both leave doubt about the place, or nothing but the place of figures tells it that
    may stand on other lines, long lines are looked for farther out than the columns reach.
    """
    said = _near_figures(_said_of_shifts(combs, scale, verdict), verdict)
    longer = _may_be_longer(combs)
    indexing = index_scale(combs, scale, said, lines, longer=longer)
    alone = partial(_rests_on_place_alone, combs, scale, said, verdict)
    if indexing.margin < _needed_margin(verdict) or alone(indexing, lines):
        every = round(scale.numbered_every / scale.division)
        farther_out = with_long_lines(grey, factor, combs, every, verdict.figures_px)
        lines = line_evidence(farther_out, scale)
        indexing = index_scale(combs, scale, said, lines, longer=longer)
    _check_agreed(said, indexing, verdict, partial(stand_on_lines, grey, factor, combs[0]))
    if not verdict.is_centred and alone(indexing, lines):
        raise NotMeasurable("", code="scale_ambiguous")
    return indexing


def _rests_on_place_alone(
    combs: tuple[Comb, ...],
    scale: ScaleSpec,
    said: dict[int, float],
    verdict: NumeralVerdict,
    indexing: Indexing,
    lines: LineEvidence,
) -> bool:
    """Whether nothing but their place says that figures do not stand on other lines, or hang
    from them."""
    likeliest = max(said, key=said.__getitem__)
    others = [k for k in said if k != likeliest and verdict.may_stand_on(likeliest - k)]
    if not others or indexing.shifts[0] != likeliest:
        return False
    either = dict.fromkeys(said, RULED_OUT) | dict.fromkeys((likeliest, *others), 0.0)
    return index_scale(combs, scale, either, lines, longer=True).margin < DECISIVE_SHIFT_MARGIN


def _near_figures(said: dict[int, float], verdict: NumeralVerdict) -> dict[int, float]:
    """Rule out shifts by which upright figures whose place tells would name lines farther off
    than any figures stand.

    Numbered lines may be the palest of all, and those half-way the longest that are seen.
    """
    if not verdict.graduation_decisive or verdict.stance != "upright":
        return said
    likeliest = max(said, key=said.__getitem__)
    return {
        k: score if verdict.may_name(likeliest - k) else RULED_OUT for k, score in said.items()
    }


def stand_on_lines(
    grey: NDArray[np.uint8], factor: float, comb: Comb, verdict: NumeralVerdict, moved: int
) -> bool:
    """Whether figures stand on, or hang from, the graduations ``moved`` divisions above those
    that they were taken to stand beside.

    Lines that strokes of the figures touch look longer than they are; they have to run on
    under the figures.
    """
    if not verdict.may_stand_on(moved):
        return False
    if verdict.stands_clear_of(moved):
        return True
    index = np.array([label.index + moved for label in verdict.labels], np.int64)
    return run_under(grey, factor, comb, index, verdict.figures_px)


def _said_of_shifts(
    combs: tuple[Comb, ...], scale: ScaleSpec, verdict: NumeralVerdict
) -> dict[int, float]:
    """Log-likelihood of the first column's shifts from the printed numbers."""
    lowest = _lowest_indices(combs, scale)
    return {-k: float(score) for k, score in zip(lowest, verdict.scores, strict=True)}


def are_strokes(verdict: NumeralVerdict, combs: tuple[Comb, ...], factor: float) -> bool:
    """Whether a column of lines is made of strokes of the figures, one in each.

    Strokes lie within the outlines of the figures; lines that the outlines only touch begin
    outside. Where most lines are between the figures, figures stand on the others.
    """
    boxes = factor * np.array(verdict.figures_px)
    low, high = boxes.min(axis=1), boxes.max(axis=1)
    middle = 0.5 * (low[:, 1] + high[:, 1])
    for comb in combs:
        upward = np.argsort(comb.lines.y)
        y = comb.lines.y[upward]
        among = y[(y > low[:, 1].min()) & (y < high[:, 1].max())]
        in_figures = (among[:, None] > low[:, 1]) & (among[:, None] < high[:, 1])
        if 2 * in_figures.any(axis=1).sum() < len(among):
            continue
        left = np.interp(middle, y, comb.lines.left[upward])
        right = np.interp(middle, y, comb.lines.right[upward])
        if np.mean((left > low[:, 0]) & (right < high[:, 0])) > MIN_AGREEMENT:
            return True
    return False


def check_ink(
    grey: NDArray[np.uint8], verdict: NumeralVerdict, combs: tuple[Comb, ...]
) -> bool:
    """Refuse lines that are lighter than the board beside darker figures, or the reverse.

    They are the gaps between the graduations, half a division off.

    Returns
    -------
    bool
        Whether lines and figures are of one ink; else that of the figures is not clear.
    """
    dark = figures_are_dark(grey, verdict.labels)
    if dark is not None and dark is not combs[0].dark:
        raise NotMeasurable("", code="scale_ambiguous")
    return dark is not None


def _check_agreed(
    said: dict[int, float],
    indexing: Indexing,
    verdict: NumeralVerdict,
    on_lines: Callable[[NumeralVerdict, int], bool],
) -> None:
    """Refuse a numbering that the lines bear out and the figures rule out.

    Both are likelihoods of models; where one rules out what the other is sure of, one of the
    models is wrong. Figures half-way between two numbered lines say so: a line half-way may
    look as long as a numbered one. Figures that run along the scale may begin at their line,
    and others stand on it: by which of the lines there is for those to say.
    """
    lying = verdict.stance in ("rising", "falling")
    most = MIN_MARGIN_WITH_NUMERALS if lying else MAX_DISAGREEMENT
    chosen = indexing.shifts[0]
    likeliest = max(said, key=said.__getitem__)
    lead = said[likeliest] - said.get(chosen or 0, min(said.values()))
    if chosen is None:
        raise NotMeasurable("", code="scale_ambiguous")
    # What the figures say against lines that they stand on is not held against those.
    sure = indexing.margin + lead >= MIN_MARGIN and lead <= MAX_ON_LINE
    if lead > most and not (sure and on_lines(verdict, likeliest - chosen)):
        raise NotMeasurable("", code="scale_ambiguous")


def _check_not_contradicted(
    said: dict[int, float], indexing: Indexing, verdict: NumeralVerdict
) -> None:
    """Refuse what lines alone say where figures that read well, if not well enough to decide,
    say something else."""
    exact = sum(label.exact for label in verdict.labels)
    clear = verdict.clarity >= KNOWN_CLARITY and verdict.agreement >= MIN_AGREEMENT
    if verdict.stance != "upright" or not clear or exact < LEAST_EXACT:
        return
    lead = max(said.values()) - said.get(indexing.shifts[0] or 0, min(said.values()))
    if lead >= MIN_MARGIN:
        raise NotMeasurable("", code="scale_ambiguous")


def _check_against_numerals(verdict: NumeralVerdict, scale: ScaleSpec) -> None:
    """Refuse a file whose numbers are not those printed.

    The labels read well, because they follow each other by even steps, but most are not what
    any place of the file's scale would put there.
    """
    if verdict.agreement >= MIN_AGREEMENT:
        return
    read = [
        (label.index, float(label.read)) for label in verdict.labels if _is_number(label.read)
    ]
    steps = np.array([abs(abs(b - a) / (j - i)) for (i, a), (j, b) in pairwise(read) if j > i])
    steps = steps[steps > 0.0]
    alike = np.abs(steps[:, None] - steps) < SAME_STEP * steps
    in_step = int(alike.sum(axis=1).max(initial=0))
    if in_step < MIN_IN_STEP:
        return
    step = float(steps[alike.sum(axis=1).argmax()])
    # Points too small to be seen make every number ten or a hundred times as large.
    power = np.log10(step / scale.division)
    if round(power) > 0 and abs(power - round(power)) < SAME_STEP:
        return
    raise _other_numbers()


def _other_numbers() -> NotMeasurable:
    return NotMeasurable(
        "the printed numbers are not those of the instrument file; check lowest, highest "
        "and numbers, or whether this is another instrument",
        code="scale_differs_from_file",
    )


def _check_as_if_unknown(
    verdict: NumeralVerdict,
    grey: NDArray[np.uint8],
    geometry: ScaleGeometry,
    shift: int,
    scale: ScaleSpec,
) -> None:
    """Refuse a file where the numbers, read as if there were none, say something else.

    A file for another scale of as many graduations passes by ends and hierarchy alone; its
    numbers are then looked for in the wrong places, and what is read there is chance.
    """
    if verdict.decisive or verdict.agreement >= MIN_AGREEMENT or not verdict.legible:
        return
    bare = read_numerals(grey, geometry, bare_hypotheses())
    if not bare.decisive or bare.best is None or bare.stance != "upright":
        return
    index = np.array([label.index for label in bare.labels])
    stated = np.array([value_of_height(h, scale) for h in heights_of(index, shift, scale)])
    printed = np.array([bare.best.value(int(k)) for k in index])
    # A sign that is not printed, and a place off by a graduation, are not for this to judge.
    off = np.abs(np.abs(stated) - np.abs(printed)) > 1.5 * scale.division
    if np.mean(off) > MIN_AGREEMENT:
        raise _other_numbers()


def _is_number(text: str) -> bool:
    return text.replace(".", "", 1).isdigit()


def _needed_margin(verdict: NumeralVerdict) -> float:
    if verdict.graduation_decisive:
        return DECISIVE_SHIFT_MARGIN
    return MIN_MARGIN_WITH_NUMERALS if verdict.decisive else MIN_MARGIN


def scale_geometry(
    combs: tuple[Comb, ...],
    scale_map: ScaleMap,
    per_index: float,
    at_index: float,
    factor: float,
    *,
    whole: bool = False,
) -> ScaleGeometry:
    """Lay out the graduations of the first comb for the reading of numerals.

    Parameters
    ----------
    per_index, at_index
        Map value of index k is ``at_index + per_index * k``.
    factor
        Pixels of the full picture per pixel of the one that is read.
    whole
        Numbers are to be looked for beside all columns of lines, not beside the first only.
    """
    comb = combs[0]
    plane = scale_map.plane()
    across = float(np.median(plane.from_pixel(comb.lines.x, comb.lines.y)[0]))
    half_px = 0.5 * float(np.quantile(comb.lines.length, 0.95)) / factor
    if whole:
        left, right = combs_across(plane, combs, 0.0)
        across = 0.5 * (left + right)
    index = np.arange(
        int(comb.index[0]) - EXTRA_GRADUATIONS, int(comb.index[-1]) + EXTRA_GRADUATIONS + 1
    )
    value = at_index + per_index * index
    side = 0.5 * abs(per_index)

    def at(shift_across: float, shift_value: float) -> NDArray[np.float64]:
        x, y = plane.to_pixel(np.full(len(index), across + shift_across), value + shift_value)
        return (np.stack([x, y], axis=1) + 0.5) / factor - 0.5

    along = at(0.0, 0.5 * per_index) - at(0.0, -0.5 * per_index)
    aside = at(side, 0.0) - at(-side, 0.0)
    length = np.hypot(aside[:, 0], aside[:, 1])
    if whole:
        half_px = 0.5 * (right - left) * float(np.median(length)) / (2 * side)
    return ScaleGeometry(
        index=index.astype(np.int64),
        centre_px=at(0.0, 0.0),
        along_px=along,
        across_px=aside / length[:, None],
        tick_half_length_px=half_px,
        beyond_ends=EXTRA_GRADUATIONS,
        u_slope=scale_map.u_slope,
    )


def _map(
    combs: tuple[Comb, ...], indexing: Indexing, scale: ScaleSpec, frame: Frame
) -> ScaleMap:
    count = graduation_count(scale)
    named = [
        (part, heights_of(part.index, shift, scale))
        for comb, shift in zip(combs, indexing.shifts, strict=True)
        if shift is not None
        for part in within_scale(without_grown_lines(comb, scale), shift, count).straight
    ]
    return fit_scale_map(
        tuple(part for part, _ in named), tuple(heights for _, heights in named), frame
    )


def _lowest_indices(combs: tuple[Comb, ...], scale: ScaleSpec) -> range:
    """Indices of the first comb at which the scale may begin, leaving it mostly seen."""
    first, last = int(combs[0].index[0]), int(combs[0].index[-1])
    count = graduation_count(scale)
    slack = max(3, round(0.1 * (last - first)))
    low, high = last - count + 1, first
    if combs[0].parts or low - high <= 2 * slack:
        # Graph paper goes on beyond its numbers; others may have strays beyond either end.
        low, high = sorted((low, high))
    return range(low - slack, high + slack + 1)


def _read_known(
    grey: NDArray[np.uint8],
    factor: float,
    combs: tuple[Comb, ...],
    indexing: Indexing,
    scale_map: ScaleMap,
    scale: ScaleSpec,
) -> NumeralVerdict:
    lowest = _lowest_indices(combs, scale)
    if not lowest:
        raise NotMeasurable(
            "more graduations follow each other in the picture than the instrument file "
            "states; check lowest, highest and division, or whether this is another "
            "instrument",
            code="scale_differs_from_file",
        )
    laid = partial(_geometry, factor, combs, indexing, scale_map, scale)
    verdict, _ = read_beside(grey, combs, laid, _hypotheses(scale, lowest))
    return verdict


def read_beside(
    grey: NDArray[np.uint8],
    combs: tuple[Comb, ...],
    laid: Callable[..., ScaleGeometry],
    hypotheses: NumberingTable,
) -> tuple[NumeralVerdict, ScaleGeometry]:
    """Read the numbers beside the first column or, where that does not decide, beside all.

    ``laid`` gives the geometry; asked for the ``whole``, that of all columns together. The one
    in which the numbers were read is returned with them.
    """
    geometry = laid()
    verdict = read_numerals(grey, geometry, hypotheses)
    if not verdict.decisive and len(combs) > 1:
        beside_all = laid(whole=True)
        again = read_numerals(grey, beside_all, hypotheses)
        if again.decisive:
            return again, beside_all
    return verdict, geometry


def _read_on_its_head(
    grey: NDArray[np.uint8],
    factor: float,
    combs: tuple[Comb, ...],
    indexing: Indexing,
    scale_map: ScaleMap,
    scale: ScaleSpec,
) -> bool:
    """Whether the numbers are those of the file with the picture turned upside down.

    Ends and hierarchy of most scales are the same both ways.
    """
    geometry = _geometry(factor, combs, indexing, scale_map, scale)
    turned = ScaleGeometry(
        index=-geometry.index[::-1],
        centre_px=geometry.centre_px[::-1],
        along_px=-geometry.along_px[::-1],
        across_px=-geometry.across_px[::-1],
        tick_half_length_px=geometry.tick_half_length_px,
        u_slope=geometry.u_slope,
    )
    lowest = _lowest_indices(combs, scale)
    top = graduation_count(scale) - 1
    highest = range(-(lowest[-1] + top), -(lowest[0] + top) + 1)
    verdict = read_numerals(grey, turned, _hypotheses(scale, highest))
    return verdict.decisive and verdict.stance == "upright"


def _geometry(
    factor: float,
    combs: tuple[Comb, ...],
    indexing: Indexing,
    scale_map: ScaleMap,
    scale: ScaleSpec,
    *,
    whole: bool = False,
) -> ScaleGeometry:
    shift = indexing.shifts[0]
    assert shift is not None  # the first column sets the numbering
    return scale_geometry(
        combs,
        scale_map,
        scale.division,
        scale.lowest + shift * scale.division,
        factor,
        whole=whole,
    )


def _hypotheses(scale: ScaleSpec, lowest_index: range) -> NumberingTable:
    return known_scale_hypotheses(
        division=scale.division,
        numbered_every=scale.numbered_every,
        lowest=scale.lowest,
        highest=scale.highest,
        numbers=scale.numbers,
        lowest_index=lowest_index,
    )
