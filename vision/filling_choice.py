"""Which steps are the levels: those that leave the fillings between them most alike."""

from __future__ import annotations

from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from limbsight.vision.fillings import unlikeness
from limbsight.vision.layers import Interface

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

STEP_EXPONENT = 0.5
"""Sets of interfaces compare by what they leave unlike, times this power of how much fainter
than the clearest step their faintest is: twice the step outweighs 40 % of unlikeness."""


def choose_interfaces(
    colours: FloatArray,
    usable: BoolArray,
    peaks: list[int],
    step: FloatArray,
    count: int,
    noise: float,
) -> tuple[list[int], Interface | None]:
    """Choose the interfaces that leave each filling most alike, and the clearest one left.

    ``noise`` is what no interface explains.
    """
    size = min(count, len(peaks))
    if size == 0:
        return [], None
    sets = list(combinations(sorted(peaks), size))
    tallest = max(float(step[p]) for p in peaks)
    costs = [
        unlikeness(colours, usable, chosen)
        # Shading along a tube can outweigh a faint level: a clear step speaks for a set.
        * (tallest / min(float(step[p]) for p in chosen)) ** STEP_EXPONENT
        for chosen in sets
    ]
    best = list(sets[int(np.argmin(costs))])
    others = [p for p in peaks if p not in best]
    rival = None
    if others:
        more = [unlikeness(colours, usable, tuple(sorted([*best, p]))) for p in others]
        clearest = others[int(np.argmin(more))]
        weakest = min(float(step[p]) for p in best)
        # Another interface is real when it explains more than half of what is left unlike
        # and steps half as much as the weakest one chosen.
        if min(more) - noise < 0.5 * (min(costs) - noise) and step[clearest] > 0.5 * weakest:
            rival = Interface(row=float(clearest), step=float(step[clearest]))
    return best, rival
