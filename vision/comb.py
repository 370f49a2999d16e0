"""Combs: columns of graduations, equally spaced lines with their ends on one straight line.

The graduations of one column share an end (the spine), whatever their lengths, and follow
each other at a step that perspective changes only smoothly. Both facts hold for any ink,
board or font.

Indices grow upward in the picture and start anywhere: naming them is the scale map's task.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from limbsight.vision.quantiles import median_of_row
from limbsight.vision.segments import Segments

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

Side = Literal["left", "right"]
MIN_GRADUATIONS = 12
"""Fewer lines at one pitch occur by chance in brickwork and print."""
PHASE_TOLERANCE = 0.25
"""A graduation is taken within a quarter of a division of where it is expected; random lines
then pass half of the time, so that a true comb stands out by its filling."""
MIN_FILLING = 0.6
"""Share of the indices between the ends that carry a line; chance gives 0.5 at most where
the picture is full of lines, far less elsewhere."""
SHORT_QUANTILE, GROWN = 0.25, 1.5
"""Lines of one kind are longer than the shorter ones by less than this (ends are smeared by a
pixel or two, the shortest lines are 6 px long); long ones, and those that touch figures, are
twice as long."""
MAX_PITCH_PX = 120.0
MIN_PITCH_PX = 2.2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Comb:
    """One column of graduations.

    Attributes
    ----------
    side
        Which ends of the lines are on the spine.
    index : ndarray, shape (N,)
        Consecutive number of each graduation, upward in the picture; gaps are allowed.
    lines : Segments
        The lines, in the order of ``index``.
    residual_px
        Standard deviation of the graduations about the smooth fit, across the line.
    """

    side: Side
    index: IntArray
    lines: Segments
    residual_px: float
    overhang: FloatArray | None = None
    """Contrast of each line beyond the end of the short ones, on the side off the spine: long
    lines show there. Grey levels, shape (N,)."""
    index_offset: float = 0.0
    index_error: float = 0.0
    """Where this column was joined to another: what is left over of a whole number of
    divisions between their indices, and its standard error."""
    dark: bool = True
    """Whether the lines are darker than their surroundings."""
    found_px: float = 1.0
    """Size of the pixels of the picture that it was found in, in pixels of this one."""
    parts: tuple[Comb, ...] = ()
    """Of lines that run over a whole board: what is seen of them between the tubes, with the
    same index. Parts are straight, the whole may be bent by the lens."""

    @property
    def straight(self) -> tuple[Comb, ...]:
        """The parts, or the column itself where it has none: what positions rest on."""
        return self.parts or (self,)

    @property
    def spine_x(self) -> FloatArray:
        """x of the ends on the spine [px]."""
        return self.lines.left if self.side == "left" else self.lines.right

    @property
    def pitch_px(self) -> float:
        """Median distance of neighbouring graduations along y [px]."""
        steps = np.abs(np.diff(self.lines.y)) / np.maximum(np.diff(self.index), 1)
        return median_of_row(steps)

    @property
    def filling(self) -> float:
        """Share of the indices from first to last that carry a line."""
        return len(self.index) / float(self.index[-1] - self.index[0] + 1)
