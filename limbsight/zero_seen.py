"""Whether a zero that is not in the picture ends the scale, or lies inside it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from limbsight.calib.indexing import value_of_height
from limbsight.reasons import reason

if TYPE_CHECKING:
    from collections.abc import Sequence

    from limbsight.knowledge import Knowledge
    from limbsight.read_limb import Limb
    from limbsight.records import Reason


def zero_doubts(limbs: Sequence[Limb], known: Knowledge) -> tuple[Reason, ...]:
    """Doubt numbers that fall upward to a zero out of sight, but for what the levels tell.

    They may be the lower half of a scale that counts from a zero inside. Such a zero is set
    between the levels of a U-tube, and to that of a bank's open limb (common practice, no
    source). It is none where the middle of all levels is farther below it than they are apart,
    and than one number is from the next: nobody reads an instrument that has lost so much.
    """
    scale = known.instrument.scale
    tops = [value_of_height(limb.levels[-1].height, scale) for limb in limbs if limb.levels]
    if len(limbs) == len(tops) > 1:
        below, apart = np.mean(np.abs(tops)), np.ptp(tops)
        if below > max(apart, scale.numbered_every):
            return ()
    return (reason("zero_out_of_sight"),)
