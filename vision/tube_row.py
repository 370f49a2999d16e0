"""How many tubes a bank has: those that stand out, in a row of equal distances.

The tubes of a bank are alike and equally spaced. Bands that stand out from the rest are taken;
the row they make says whether one is missing inside it, does not belong to it, or may follow
at an end, and then the count is not certain.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from limbsight.vision.limbs import LimbBand, LimbChoice, overlap

FloatArray = NDArray[np.float64]

MIN_GAP = 2.0
"""The bands of a bank score at least this many times the best other band that does not overlap
them. In 14 banks of sample photos and renders the weakest tube scores 0.32 to 0.76 of the
strongest; the number was chosen on the same photos."""
LEAST_ROW = 3
"""Two distances at least, to be equal."""
OUT_OF_STEP_WIDTHS = 0.2
"""How far a tube of a bank may stand from its place. Evenly spaced tubes were found up to 0.19
widths off theirs (same 14 banks), so little is left for banks that are not quite even: those
come out uncertain."""
END_SHARE = 0.6
"""Walls that show this much, compared with those of the row, at the next place beyond an end
may be of another tube, full, empty or hidden: tubes of the 14 banks show 0.68 or more, the
empty places beyond their ends 0.24 at most. None of those banks has a tube without a level."""


def choose_row(candidates: Sequence[LimbBand], walls: FloatArray) -> LimbChoice:
    """Choose the tubes of a bank.

    Parameters
    ----------
    candidates
        Weighed by the levels in them.
    walls : ndarray, shape (C,)
        How clearly a pair of walls stands about each column, whatever is in the tube.

    Returns
    -------
    LimbChoice
        Its clearance is 0 where the bands chosen make no whole row of equal distances.
    """
    apart: list[LimbBand] = []
    for band in sorted(candidates, key=lambda band: -band.score):
        if all(not overlap(band, other) for other in apart):
            apart.append(band)
    if not apart:
        return LimbChoice(limbs=(), clearance=0.0)
    ratios = [a.score / max(b.score, 1e-9) for a, b in pairwise(apart)]
    count = int(np.argmax(ratios)) + 1 if ratios else len(apart)
    limbs = tuple(sorted(apart[:count], key=lambda band: band.centre_column))
    clearance = ratios[count - 1] if count <= len(ratios) else np.inf
    whole = clearance >= MIN_GAP and _is_whole_row(limbs, walls)
    return LimbChoice(limbs=limbs, clearance=clearance if whole else 0.0)


def _is_whole_row(limbs: tuple[LimbBand, ...], walls: FloatArray) -> bool:
    places = np.array([band.centre_column for band in limbs])
    if len(places) < LEAST_ROW:
        return False
    pitch, first = np.polyfit(np.arange(len(places)), places, 1)
    width = limbs[0].width_columns
    out_of_step = np.abs(places - first - pitch * np.arange(len(places)))
    if out_of_step.max() > OUT_OF_STEP_WIDTHS * width:
        return False
    usual = float(np.median([_walls_near(walls, place, width) for place in places]))
    ends = (places[0] - pitch, places[-1] + pitch)
    return all(_walls_near(walls, end, width) < END_SHARE * usual for end in ends)


def _walls_near(walls: FloatArray, place: float, width: float) -> float:
    low = max(int(place - OUT_OF_STEP_WIDTHS * width), 0)
    high = min(int(place + OUT_OF_STEP_WIDTHS * width) + 1, len(walls))
    return float(walls[low:high].max()) if high > low else 0.0
