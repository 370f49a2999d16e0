"""A scale of which only the longer lines are seen.

Every fifth or tenth line may stand alone: the short ones run behind the tube, or are too fine
for the picture. Where the printed numbers are read beside such a column, they name its lines,
and the map between them is as good as that of a scale with so long divisions.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from limbsight.calib.camera import Frame
from limbsight.calib.indexing import graduation_count
from limbsight.calib.instrument import ScaleSpec
from limbsight.calib.numbering import NamedScale, name_graduations
from limbsight.errors import NotMeasurable
from limbsight.vision.comb import Comb
from limbsight.vision.comb_joints import LEAST_JOINT_ERROR, joint_error

LEAST_SEEN = 0.5
"""Share of the longer lines that must be seen: as of the file's on a smaller board
(`limbsight.find_scale.LEAST_OF_FILE`)."""
LEAST_APART = 4
"""Lines are printed longer every fourth (quarters of an inch in sixteenths) to tenth. Every
other line is found where divisions of 2 px merge, not always the same: of 15 such columns
with as good figures seven were off by 0.6 to 4.5 divisions; of seven with every fifth line
none was (photos of another renderer, reduced, and renders)."""
STRAY = 2
"""Lines beyond the ends of a scale that a column may have: a border at either."""
OFF_STEP_ERRORS = 3.5
"""Standard errors, as of print in short divisions, by which longer lines may be off the step
of another column's: one in 2000 normal errors (judgement, no source)."""


def name_longer_lines(
    grey: NDArray[np.uint8],
    factor: float,
    combs: tuple[Comb, ...],
    scale: ScaleSpec,
    frame: Frame,
) -> NamedScale:
    """Number columns of lines that stand a whole number of divisions apart.

    Parameters
    ----------
    grey, factor, combs, scale, frame
        As for `limbsight.calib.numbering.name_graduations`.

    Returns
    -------
    NamedScale
        With indices that count the divisions of ``scale``.

    Raises
    ------
    NotMeasurable
        ``scale_ambiguous``: the printed numbers do not settle it.
    """
    for apart, longer in longer_divisions(combs, scale, factor * grey.shape[0]):
        try:
            named = name_graduations(grey, factor, combs, longer, frame, by_numbers=True)
        except NotMeasurable:
            continue
        if named.ink_read and named.place_read and _keep_step(named.combs, apart):
            return _in_divisions(named, apart)
    raise NotMeasurable("", code="scale_ambiguous")


def longer_divisions(
    combs: tuple[Comb, ...], scale: ScaleSpec, height_px: float = np.inf
) -> Iterator[tuple[int, ScaleSpec]]:
    """Give how many divisions apart the lines may be, and the scale they then make.

    Of a long scale no more can be seen than there is room for in a picture so high.
    """
    lines = max(len(comb.index) for comb in combs)
    room = height_px / min(comb.pitch_px for comb in combs)
    span = max(int(np.ptp(comb.index)) for comb in combs) + 1
    every = round(scale.numbered_every / scale.division)
    for apart in range(LEAST_APART, every + 1):
        longer = replace(scale, division=apart * scale.division)
        ends = np.array([scale.lowest, scale.highest]) / longer.division
        whole = every % apart == 0 and bool(np.allclose(ends, np.round(ends), atol=1e-6))
        count = graduation_count(longer)
        if whole and span <= count + STRAY and lines >= LEAST_SEEN * min(count, room):
            yield apart, longer


def _keep_step(combs: tuple[Comb, ...], apart: int) -> bool:
    """Whether all columns are off by no more than print is: parts of a short division.

    Strokes at the top of figures keep step with the longer lines, a division or two above:
    beside those they tilt the map (3.8 mm off at u 0.8, in a frame of interlaced video).
    """
    first, *others = combs
    return all(
        abs(comb.index_offset)
        <= OFF_STEP_ERRORS * max(joint_error(first, comb), LEAST_JOINT_ERROR / apart)
        for comb in others
    )


def _in_divisions(named: NamedScale, apart: int) -> NamedScale:
    def counted(comb: Comb) -> Comb:
        parts = tuple(counted(part) for part in comb.parts)
        return replace(comb, index=apart * comb.index, parts=parts)

    return replace(
        named,
        combs=tuple(counted(comb) for comb in named.combs),
        shifts=tuple(apart * shift for shift in named.shifts),
        apart=apart,
    )
