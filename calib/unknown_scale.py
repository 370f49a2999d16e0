"""A scale without an instrument file: its numbering from the printed numerals.

The numerals are decoded together (`limbsight.vision.numerals`) and used only where that is
decisive; which graduation a numeral stands at is settled by its place or, where graduations
are fine beside the figures, by the long lines.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from limbsight.calib.indexing import hierarchy_gain
from limbsight.calib.instrument import ScaleSpec
from limbsight.calib.numbering import NamedScale, scale_geometry
from limbsight.calib.scale_map import Frame, ScaleMap, fit_scale_map
from limbsight.errors import NotMeasurable
from limbsight.vision.graduations import Comb
from limbsight.vision.numeral_units import read_unit
from limbsight.vision.numerals import Numbering, bare_hypotheses, read_numerals

MIN_HIERARCHY_MARGIN = 6.9
"""Log-odds of the numbered graduations over their neighbours: ln 1000."""
MIN_JOIN_LEAD = 6.9
"""Log-odds of a column's place beside the others over the next division: ln 1000."""
MAX_ERRORS = 3.0
"""Standard errors by which a column may stand off."""
LEAST_JOIN_ERROR = 0.05
"""Standard uncertainty of a column's place beside a map at least [divisions]: print."""
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
    """

    named: NamedScale
    spec: ScaleSpec
    unit_printed: str | None
    figure_height: float | None

    @property
    def numbers_read(self) -> bool:
        """The numbering comes from the printed numbers alone."""
        return self.named.numbers_read


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
    combs, by_index = _joined(combs, frame)
    geometry = scale_geometry(combs, by_index, 1.0, 0.0, factor)
    verdict = read_numerals(grey, geometry, bare_hypotheses())
    if not verdict.decisive or verdict.best is None:
        raise NotMeasurable("", code="scale_unnumbered")
    if verdict.stance == "turned":
        raise NotMeasurable("", code="picture_turned")
    if verdict.stance == "mirrored":
        raise NotMeasurable("", code="picture_mirrored")
    if verdict.graduation_decisive:
        step = 0
        _check_long_lines(combs, verdict.best)
    else:
        step = _step_to_long_lines(combs, verdict.best)
    unit = read_unit(grey, geometry, verdict.column) if verdict.column is not None else None
    spec, shift = _spec(combs[0], verdict.best, step, unit)
    heights = spec.lowest + shift * spec.division
    return ScaleFromPicture(
        named=NamedScale(
            combs=combs,
            shifts=tuple(shift for _ in combs),
            map=by_index.renumbered(spec.division, heights),
            numbers_read=True,
        ),
        spec=spec,
        unit_printed=unit,
        figure_height=(
            verdict.column.height_px / geometry.pitch_px * spec.division
            if verdict.column
            else None
        ),
    )


def _joined(combs: tuple[Comb, ...], frame: Frame) -> tuple[tuple[Comb, ...], ScaleMap]:
    """Columns whose place beside each other is sure, and the map of their indices.

    Each map tells the slope of the lines better than a column alone, so farther columns can
    be joined to it.
    """
    sure = tuple(
        comb
        for comb in combs
        if comb is combs[0] or _lead(comb.index_offset, comb.index_error) >= MIN_JOIN_LEAD
    )
    left = [comb for comb in combs if comb not in sure]
    by_index = _map_of(sure, frame)
    while left:
        placed = [_placed(comb, by_index) for comb in left]
        found = tuple(comb for comb in placed if comb is not None)
        if not found:
            break
        left = [comb for comb, new in zip(left, placed, strict=True) if new is None]
        sure += found
        by_index = _map_of(sure, frame)
    return sure, by_index


def _map_of(combs: tuple[Comb, ...], frame: Frame) -> ScaleMap:
    parts = tuple(part for comb in combs for part in comb.straight)
    return fit_scale_map(parts, tuple(p.index.astype(float) for p in parts), frame)


def _placed(comb: Comb, by_index: ScaleMap) -> Comb | None:
    """Give a column its index by the map, or None where that leaves room for doubt."""
    x, y = comb.lines.x, comb.lines.y
    behind = float(np.median(by_index.value_at(x, y) - comb.index))
    by_each = by_index.sensitivity(float(np.median(x)), float(np.median(y)))
    error = float(np.hypot(np.sqrt(by_each @ by_index.covariance @ by_each), LEAST_JOIN_ERROR))
    shift = round(behind)
    if _lead(behind - shift, error) < MIN_JOIN_LEAD:
        return None
    return replace(
        comb, index=comb.index + shift, index_offset=behind - shift, index_error=error
    )


def _lead(offset: float, error: float) -> float:
    """Log-odds of a place over the next one, a division away; none if it fits neither."""
    if abs(offset) > MAX_ERRORS * error:
        return 0.0
    return 0.5 * (1 - 2 * abs(offset)) / max(error, 1e-9) ** 2


def _step_to_long_lines(combs: tuple[Comb, ...], best: Numbering) -> int:
    """Move the numbers by up to one division, to where the long lines are."""
    gains = _gains_of_steps(combs, best)
    order = np.argsort(gains)
    if gains[order[-1]] - gains[order[-2]] < MIN_HIERARCHY_MARGIN:
        raise NotMeasurable("", code="scale_ambiguous")
    return int(order[-1]) - 1


def _check_long_lines(combs: tuple[Comb, ...], best: Numbering) -> None:
    """Refuse numbers whose long lines are clearly a division away: one of the two is wrong."""
    before, here, after = _gains_of_steps(combs, best)
    if max(before, after) - here >= MIN_HIERARCHY_MARGIN:
        raise NotMeasurable("", code="scale_ambiguous")


def _gains_of_steps(combs: tuple[Comb, ...], best: Numbering) -> list[float]:
    """What the long lines say for the numbers a division back, as they are, and one on."""
    numbered = [
        [(comb.index - best.zero_index - step) % best.numbered_every == 0 for comb in combs]
        for step in (-1, 0, 1)
    ]
    return [sum(map(hierarchy_gain, combs, at_step)) for at_step in numbered]


def _spec(comb: Comb, best: Numbering, step: int, unit: str | None) -> tuple[ScaleSpec, int]:
    """State the scale as an instrument file would, and the shift of the index to it.

    The height grows upward from the lowest graduation, as ``heights_of`` has it.
    """
    first, last = int(comb.index[0]), int(comb.index[-1])
    every = best.numbered_every
    zero = best.zero_index + step
    bottom = _number_near(first, zero, every, -1)
    top = _number_near(last, zero, every, +1)
    ends = sorted(best.direction * best.division * (k - zero) for k in (bottom, top))
    inside = best.unsigned and bottom < zero < top
    # Numbers without sign that fall to a zero at the top count downward from it.
    from_top = best.unsigned and best.direction > 0 and zero >= top
    if from_top:
        ends = [abs(end) for end in reversed(ends)]
    downward = best.direction < 0 or from_top
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
        numbers=("away-from-zero" if inside else "downward" if downward else "upward"),
        material=None,
        true_at_k=None,
        standard_uncertainty_m=None,
        unit_m=length if length is not None else 1e-3,
        unit_pa=None,
    )
    return spec, -bottom


def _number_near(index: int, zero: float, every: int, way: int) -> int:
    """Return the end of the scale: a numbered graduation close beyond, else the last found."""
    steps = (index - zero) / every
    number = round(zero + every * (np.ceil(steps) if way > 0 else np.floor(steps)))
    return number if abs(number - index) <= END_SLACK else index
