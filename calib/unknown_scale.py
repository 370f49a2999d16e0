"""A scale without an instrument file: its numbering from the printed numerals.

The numerals are decoded together (`limbsight.vision.numerals`) and used only where that is
decisive; which graduation a numeral stands at is settled by its place or, where graduations
are fine beside the figures, by the long lines.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from limbsight.calib.camera import Frame
from limbsight.calib.indexing import hierarchy_gain, place_missed
from limbsight.calib.instrument import ScaleSpec
from limbsight.calib.joining import join_columns
from limbsight.calib.numbering import (
    NamedScale,
    are_strokes,
    check_ink,
    read_beside,
    scale_geometry,
    stand_on_lines,
)
from limbsight.errors import NotMeasurable
from limbsight.vision.comb import Comb
from limbsight.vision.line_ink import with_ink
from limbsight.vision.long_lines import cut_at_figures, with_long_lines
from limbsight.vision.numbering import spurious_divisions
from limbsight.vision.numeral_units import read_unit
from limbsight.vision.numerals import (
    DECISIVE_SHIFT_MARGIN,
    Numbering,
    NumeralVerdict,
    bare_hypotheses,
)

MIN_HIERARCHY_MARGIN = 6.9
"""Log-odds of the numbered graduations over their neighbours: ln 1000."""
SURELY_SHORT = 2.3
"""Log-odds, ln 10, from which on lines are short ones, and not those that bear numbers."""
LENGTH_UNITS_M = {"mm": 1e-3, "cm": 1e-2, "in": 25.4e-3}
MILLIMETRE_DIVISIONS = 0.5
"""Without a printed unit, divisions of 0.5 and more are taken for millimetres, finer ones for
parts of a centimetre (common practice, no source): it only matters for the parallax."""
END_SLACK = 3
"""Graduations at an end that may have been missed; scales end at a number."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ScaleFromPicture:
    """A scale as its picture tells it.

    Attributes
    ----------
    unit_printed
        The unit, where it was read; else the scale counts in an assumed one.
    figure_height
        Of the printed figures [scale units], or None.
    both_ways
        Whether a second column of numbers grows downward.
    sign_certain
        Whether the zero is seen to end the scale, or to lie inside it.
    figures_px : tuple of ndarray, shape (4, 2)
        Corners of the numbers read, in the picture searched.
    """

    named: NamedScale
    spec: ScaleSpec
    unit_printed: str | None
    figure_height: float | None
    both_ways: bool = False
    sign_certain: bool = True
    figures_px: tuple[NDArray[np.float64], ...] = ()

    @property
    def numbers_read(self) -> bool:
        """The numbering comes from the printed numbers alone."""
        return self.named.numbers_read

    @property
    def second_choice(self) -> bool:
        """Columns with more lines were not understood."""
        return self.named.second_choice

    @property
    def combs(self) -> tuple[Comb, ...]:
        """The columns used."""
        return self.named.combs

    @property
    def apart(self) -> int:
        """Divisions are those between the lines seen."""
        return self.named.apart


def read_scale(
    grey: NDArray[np.uint8], factor: float, combs: tuple[Comb, ...], frame: Frame
) -> ScaleFromPicture:
    """Number and map the graduations of an unknown scale.

    Raises
    ------
    NotMeasurable
        ``scale_unnumbered``, ``picture_turned``, ``picture_mirrored``, ``scale_ambiguous``,
        and what ``fit_scale_map`` raises.
    """
    combs, by_index = join_columns(combs, frame)
    combs = with_ink(grey, factor, combs)
    laid = partial(scale_geometry, combs, by_index, 1.0, 0.0, factor)
    verdict, geometry = read_beside(grey, combs, laid, bare_hypotheses())
    if not verdict.decisive or verdict.best is None:
        raise NotMeasurable("", code="scale_unnumbered")
    if verdict.stance == "turned":
        raise NotMeasurable("", code="picture_turned")
    if verdict.stance == "mirrored":
        raise NotMeasurable("", code="picture_mirrored")
    if are_strokes(verdict, combs, factor):
        raise NotMeasurable("", code="scale_unnumbered")
    ink_read = check_ink(grey, verdict, combs)
    place_told = verdict.graduation_decisive
    step = _step_to_own_lines(
        grey, factor, combs, verdict, verdict.best, place_told=place_told
    )
    unit = read_unit(grey, geometry, verdict.column) if verdict.column is not None else None
    spec, shift = _spec(combs[0], verdict.best, step, unit)
    heights = spec.lowest + shift * spec.division
    return ScaleFromPicture(
        named=NamedScale(
            combs=combs,
            shifts=tuple(shift for _ in combs),
            map=by_index.renumbered(spec.division, heights),
            numbers_read=True,
            ink_read=ink_read,
            place_read=place_told,
        ),
        spec=spec,
        unit_printed=unit,
        figure_height=(
            verdict.figure_height_px / geometry.pitch_px * spec.division
            if verdict.column
            else None
        ),
        both_ways=verdict.both_ways,
        sign_certain=verdict.sign_certain,
        figures_px=verdict.figures_px,
    )


def _step_to_own_lines(
    grey: NDArray[np.uint8],
    factor: float,
    combs: tuple[Comb, ...],
    verdict: NumeralVerdict,
    best: Numbering,
    *,
    place_told: bool,
) -> int:
    """Divisions from the lines that figures seem to stand beside to those that they name.

    ``place_told`` says that their place seems to tell those, 0 divisions on; else the long
    lines do, a division on at most where figures do not stand on them.

    Raises
    ------
    NotMeasurable
        ``scale_ambiguous`` where neither tells, the place is that of short lines, or the long
        ones are clearly elsewhere and not where figures stand on them: one of both is wrong.
    """
    reach = max(1, min(verdict.farthest_named, (best.numbered_every - 1) // 2))
    steps = range(-reach, reach + 1)
    figures = verdict.figures_px
    farther_out = partial(with_long_lines, grey, factor, combs, best.numbered_every, figures)
    # Lines that would pass through the middle of figures are lengthened by their strokes.
    clear_of_figures = partial(cut_at_figures, combs, factor, figures)
    step: int | None
    if place_told:
        step = _where_place_tells(combs, farther_out, clear_of_figures, verdict, best, steps)
    else:
        steps_named = [step for step in steps if verdict.may_name(step)]
        step = _longest(combs, best, steps_named)
        if step is None:
            step = _longest(farther_out(), best, steps_named)
    near = 0 if place_told else 1
    if step is None or not (
        abs(step) <= near or stand_on_lines(grey, factor, combs[0], verdict, step)
    ):
        raise NotMeasurable("", code="scale_ambiguous")
    return step


def _where_place_tells(
    combs: tuple[Comb, ...],
    farther_out: Callable[[], tuple[Comb, ...]],
    clear_of_figures: Callable[[], tuple[Comb, ...]],
    verdict: NumeralVerdict,
    best: Numbering,
    steps: Iterable[int],
) -> int:
    """The step where the place of figures seems to tell their lines: none, unless the long
    lines are clearly others."""
    others = [step for step in steps if step and verdict.may_stand_on(step)]

    def gains_by(combs: tuple[Comb, ...]) -> tuple[dict[int, float], bool]:
        gains = dict(zip(steps, _gains_of_steps(combs, best, steps), strict=True))
        rival = max((gains[step] for step in others), default=-np.inf)
        return gains, gains[0] - rival < DECISIVE_SHIFT_MARGIN

    gains, by_place_alone = gains_by(combs)
    through_figures = not (verdict.is_centred or verdict.may_stand_on(0))
    if through_figures:
        gains, by_place_alone = gains_by(clear_of_figures())
        by_place_alone |= gains[0] < DECISIVE_SHIFT_MARGIN
    elif by_place_alone:
        gains, by_place_alone = gains_by(farther_out())
    likeliest = max(gains, key=gains.__getitem__)
    if gains[likeliest] - gains[0] >= MIN_HIERARCHY_MARGIN:
        return likeliest
    if gains[0] <= -SURELY_SHORT or (by_place_alone and not verdict.is_centred):
        raise NotMeasurable("", code="scale_ambiguous")
    return 0


def _longest(combs: tuple[Comb, ...], best: Numbering, steps: list[int]) -> int | None:
    """The step to lines that are clearly longer than those of every other step, if any."""
    gains = _gains_of_steps(combs, best, steps)
    order = np.argsort(gains)
    lead = gains[order[-1]] - gains[order[-2]] if len(steps) > 1 else 0.0
    return steps[int(order[-1])] if lead >= MIN_HIERARCHY_MARGIN else None


def _gains_of_steps(
    combs: tuple[Comb, ...], best: Numbering, steps: Iterable[int]
) -> list[float]:
    """What the long lines say for the numbers so many divisions on.

    Where those of one place are missed one and all, by one column or by all together, the
    longest that are left are others.
    """
    every = best.numbered_every
    each = [(comb, place_missed(comb, every)) for comb in combs]
    together: defaultdict[int, float] = defaultdict(float)
    for place, said in filter(None, (missed for _, missed in each)):
        together[place] += said

    def gain(comb: Comb, missed: tuple[int, float] | None, step: int) -> float:
        first = best.zero_index + step
        if missed and together[missed[0]] >= MIN_HIERARCHY_MARGIN:
            return missed[1] if (missed[0] - first) % every == 0 else 0.0
        return hierarchy_gain(comb, (comb.index - first) % every == 0, every)

    return [sum(gain(comb, missed, step) for comb, missed in each) for step in steps]


def _spec(comb: Comb, best: Numbering, step: int, unit: str | None) -> tuple[ScaleSpec, int]:
    """State the scale as an instrument file would, and the shift of the index to it.

    The height grows upward from the lowest graduation, as ``heights_of`` has it.
    """
    first, last = int(comb.index[0]), int(comb.index[-1])
    every = best.numbered_every
    zero = best.zero_index + step
    bottom = _number_near(first, zero, every, -1)
    top = _number_near(last, zero, every, +1)
    ends = sorted(best.direction * best.division * (k - zero) + 0.0 for k in (bottom, top))
    inside = best.unsigned and bottom < zero < top
    length = LENGTH_UNITS_M.get(unit or "")
    if unit is None:
        length = 1e-3 if best.division >= MILLIMETRE_DIVISIONS else 1e-2
        unit = "mm" if best.division >= MILLIMETRE_DIVISIONS else "cm"
    spec = ScaleSpec(
        unit=unit,
        division=best.division,
        numbered_every=every * best.division,
        lowest=ends[0],
        highest=ends[1],
        numbers=(
            "away-from-zero" if inside else "downward" if best.direction < 0 else "upward"
        ),
        material=None,
        true_at_k=None,
        standard_uncertainty_m=None,
        unit_m=length if length is not None else 1e-3,
        unit_pa=None,
    )
    return spec, -bottom


def _number_near(index: int, zero: float, every: int, way: int) -> int:
    """Return the end of the scale: the zero of numbers that begin there, a numbered graduation
    close beyond, or else the last found."""
    if 0 < way * (index - zero) <= spurious_divisions(every):
        return round(zero)
    steps = (index - zero) / every
    number = round(zero + every * (np.ceil(steps) if way > 0 else np.floor(steps)))
    return number if abs(number - index) <= END_SLACK else index
