"""Covered stretches of a tube with different fillings above and below."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from limbsight.vision.fillings import difference_across, filling_of
from limbsight.vision.tube_covers import HIDDEN_STEP
from limbsight.vision.tube_strip import STEP_QUANTILE, TubeStrip, window_rows

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

SAME_FILLING = 0.7
"""Fillings on both sides of a hidden stretch count as one when they differ by less than this
share of the difference across the weakest interface chosen: a level hidden there would leave
a weaker, false one as the choice. Shadows of clips reach 0.6 of a weak (clear) step."""


def hidden_change(
    colours: FloatArray,
    usable: BoolArray,
    chosen: list[int],
    stretches: tuple[tuple[int, int], ...],
    strip: TubeStrip,
) -> tuple[int, int] | None:
    """Find a covered stretch that has different fillings above and below."""
    height, gap = window_rows(strip)
    margin = gap + height
    cuts = [0, *sorted([*chosen, *(row for pair in stretches for row in pair)]), len(colours)]
    for first, last in stretches:
        # Whole fillings: clips throw shadows on what is next to them.
        start = max(cut for cut in cuts if cut < first) if first > 0 else 0
        end = min(cut for cut in cuts if cut > last)
        above = filling_of(colours, usable, max(start + gap, first - 8 * margin), first - 1)
        below = filling_of(colours, usable, last + 1, min(end - gap, last + 8 * margin))
        if above is None or below is None:
            continue
        difference = float(np.quantile(np.abs(above - below).sum(axis=1), STEP_QUANTILE))
        steps = [difference_across(colours, usable, p, margin) for p in chosen]
        reference = min((s for s in steps if s > 0), default=0.0)
        if difference > max(SAME_FILLING * reference, HIDDEN_STEP):
            return first, last
    return None
