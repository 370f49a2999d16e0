"""Whether the tubes look as wide as the instrument file says.

Limbs are found at other widths, too, and their menisci fitted to a bore that is not there:
with diameters 1.5 times too large in the file 30 of 36 photos were read, seven of them 0.5 mm
off or more without a doubt. The network of limbs tells the width by itself, whatever it is
told to expect, and the edges of a tube end at its walls.
"""

from __future__ import annotations

from collections.abc import Sequence

from limbsight.read_limb import Limb
from limbsight.reasons import reason
from limbsight.records import Reason
from limbsight.vision.limb_net import ProposedLimbs
from limbsight.vision.tube_walls import walls_shown
from limbsight.without_file import PROPOSED

UNLIKE, DOUBTFUL = 1.4, 1.2
"""Ratio, either way, of the width that the network sees to that of the file: from the first on
by itself, from the second on where no walls are shown there. With the right file none of 690
photos that are read has 1.35 (drawn and traced, boards and benches); two of 353 of them have
1.2 and show no walls. Of these, with diameters 1.3 and 1.5 times too small 74 and 93 % are
told, with such that are too large 22 and 61 %. So it was with one network that had learnt from
drawn boards; with two that have learnt from photographs, on 35 others, 1.5 times too small 18
of 21 that would be read are told, too large 12 of 19."""
HARDLY_SHOWN = 0.3
"""Share of the clearest end of edges that walls have at least in 98 % of those photos."""


def width_doubts(
    seen: ProposedLimbs | None, limbs: Sequence[Limb], width_columns: float
) -> tuple[Reason, ...]:
    """Name tubes that look much wider or narrower than the file says.

    Parameters
    ----------
    seen
        What the network of limbs sees on the straightened board.
    limbs
        As read.
    width_columns
        Outside diameter on the board, by the file.
    """
    ratios = [
        limb.width_columns / width_columns
        for limb in (seen.candidates if seen else ())
        if limb.probability >= PROPOSED
    ]
    if not ratios:
        return ()
    # All would be off, if the file were wrong.
    off, ratio = min((max(r, 1.0 / r), r) for r in ratios)
    if off < DOUBTFUL:
        return ()
    if off < UNLIKE and walls_shown([limb.tube.clean for limb in limbs]) >= HARDLY_SHOWN:
        return ()
    return (reason("tubes_differ_from_file", ratio=ratio),)
