"""The file's scale, read as if there were no file where it is not found by it.

Without a file more columns of lines are looked at, and their numbers must be plain in
themselves. Where they are those of the file, the lines are its graduations.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial

from limbsight.calib.camera import Square
from limbsight.calib.indexing import check_length, graduation_count
from limbsight.calib.instrument import ScaleSpec
from limbsight.calib.numbering import NamedScale
from limbsight.calib.unknown_scale import ScaleFromPicture
from limbsight.errors import NotMeasurable
from limbsight.find_scale import (
    NOT_THIS_BOARD,
    View,
    find_scale,
    find_unknown_scale,
    is_contradicted_by_file,
    upright,
)
from limbsight.knowledge import Knowledge
from limbsight.vision.comb import Comb
from limbsight.vision.picture import Picture
from limbsight.vision.working import WorkingImage

NOT_BY_FILE = (*NOT_THIS_BOARD, "scale_not_found")
WHOLE = 1e-3
"""Of a division, by which a multiple of it may be off a whole one: rounding."""


def find_scale_of_file(
    picture: Picture,
    working: WorkingImage,
    known: Knowledge,
    square: Square | None = None,
) -> tuple[View, NamedScale]:
    """Find the scale that the instrument file states, by the file or by its numbers alone.

    ``working`` is the picture at the size of the search, ``square`` is on its board.

    Raises
    ------
    NotMeasurable
        As ``limbsight.find_scale.find_scale`` does.
    """
    try:
        return upright(picture, working, known, partial(find_scale, known=known), square)
    except NotMeasurable as stop:
        if stop.code not in NOT_BY_FILE:
            raise
        try:
            view, found = upright(picture, working, known, find_unknown_scale, square)
            named = in_divisions_of(found, known.instrument.scale)
        except NotMeasurable:
            raise stop from None
        if is_contradicted_by_file(view, named, known):
            raise
        return view, named


def in_divisions_of(found: ScaleFromPicture, spec: ScaleSpec) -> NamedScale:
    """Number a scale read from the picture in the file's divisions, where it is the file's.

    Raises
    ------
    NotMeasurable
        ``scale_differs_from_file``: other numbers, another unit, or divisions that are no
        multiple of the file's.
    """
    own, named = found.spec, found.named
    apart = own.division / spec.division
    # Where numbers run downward, heights are counted from the other end.
    down = spec.numbers == "downward"
    lowest = (spec.highest - own.highest if down else own.lowest - spec.lowest) / spec.division
    # Upward and away from zero differ in the sign printed below it only.
    alike = down == (own.numbers == "downward") and found.unit_printed in (None, spec.unit)
    if not alike or apart < 1 - WHOLE or max(_off(apart), _off(lowest)) > WHOLE:
        raise NotMeasurable("", code="scale_differs_from_file")
    times = round(apart)
    combs = tuple(_counted(comb, times) for comb in named.combs)
    shifts = tuple(times * shift + round(lowest) for shift in named.shifts)
    check_length(combs, shifts, graduation_count(spec))
    start = spec.lowest + spec.highest - own.lowest - own.highest if down else 0.0
    return replace(
        named,
        combs=combs,
        shifts=shifts,
        map=named.map.renumbered(1.0, start),
        apart=max(named.apart, times),
    )


def _off(number: float) -> float:
    """How far a number is from a whole one."""
    return abs(number - round(number))


def _counted(comb: Comb, times: int) -> Comb:
    parts = tuple(_counted(part, times) for part in comb.parts)
    return replace(comb, index=times * comb.index, parts=parts)
