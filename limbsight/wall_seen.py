"""Whether water wets the tubes, where no file names their material: told by all levels.

In a tube of plastic, and in one of greasy glass, the bowl is flat.  A fit that takes it for
the deep bowl of a wetted tube looks well and is one or two millimetres low.  So levels of
water under gas are fitted as both, and what that says is summed over the limbs, whose walls
are alike.  Tubes that lie are not asked, nor levels burnt out at the axis.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

from limbsight.calib.height_components import own_component
from limbsight.calib.heights import LevelFit
from limbsight.calib.meniscus import COVERAGE, COVERAGE_FACTOR
from limbsight.calib.meniscus_outcome import AMBIGUITY_LIMIT
from limbsight.knowledge import Knowledge
from limbsight.read_limb import Limb, noted
from limbsight.reasons import reason
from limbsight.walls import GLASS, PLASTIC

WETTED_ODDS = 20.0
"""Tubes that water wets over others, where nobody says (judgement, no source)."""
TEMPER = 2.0
"""What the picture says takes the model for true; its logarithm counts for half, as between
places of one level."""
SETTLED = 100.0
"""Odds from which on no other level is asked."""
MOST_SAID = 2.0 * TEMPER * math.log(SETTLED * WETTED_ODDS)
"""One level may settle it by itself, but says no more: drops and reflections mislead (one of
three levels of a bank of glass outweighed the others threefold)."""

COMPONENT = "wetting"
"""Name of what it adds to a level where it is not settled."""

MOST_WIDENED = math.hypot(1.0, AMBIGUITY_LIMIT)
"""Over the rest of the uncertainty, beyond which a person should choose, as between places."""

ReadLimb = Callable[[Knowledge], Limb]


def read_by_wall(readers: Sequence[ReadLimb], known: Knowledge) -> tuple[Limb, ...]:
    """Read all limbs, as of tubes that water wets or not; in doubt, as of the likelier ones,
    with what the others would make of each level.

    Parameters
    ----------
    readers
        Of each limb, left to right: reads it with what is known.
    known
        That, but perhaps for the wall.

    Returns
    -------
    tuple of Limb
        ``wall`` says of what tubes they were read as.
    """
    if known.wall_told:
        return tuple(read(known) for read in readers)
    limbs: list[Limb] = []
    log_odds = math.log(WETTED_ODDS)
    for read in readers:
        settled = log_odds > math.log(SETTLED)
        limbs.append(read(known.of_wall(GLASS) if settled else known))
        log_odds += _said_by(limbs[-1])
    chance = 1.0 / (1.0 + math.exp(log_odds))
    if chance < 1.0 - COVERAGE:
        return tuple(limbs)
    dry = [read(known.of_plastic()) for read in readers]
    if chance > COVERAGE:
        return noted(dry, reason("wall_not_wetted"))
    if chance > 0.5:
        return _either(dry, limbs, 1.0 - chance)
    return _either(limbs, dry, chance)


def _said_by(limb: Limb) -> float:
    """Logarithm by which a limb's levels change the odds that its wall is wetted."""
    each = (level.for_wetting for level in limb.levels if level.for_wetting is not None)
    return sum(max(min(said, MOST_SAID), -MOST_SAID) for said in each) / (2.0 * TEMPER)


def with_wall_seen(known: Knowledge, limbs: Sequence[Limb]) -> Knowledge:
    """What is known, with tubes of plastic if the limbs were read as such."""
    return known.of_plastic() if any(limb.wall == PLASTIC for limb in limbs) else known


def _either(likely: Sequence[Limb], other: Sequence[Limb], chance: float) -> tuple[Limb, ...]:
    """Limbs with what others, right by so much of a chance, add to their levels."""
    # A tube that may be of glass is not taken for one of plastic without a word.
    limbs, doubt = [], any(limb.wall == PLASTIC for limb in likely)
    for a, b in zip(likely, other, strict=True):
        levels = a.levels
        if len(levels) == len(b.levels):
            levels = tuple(
                _or_other(level, there, chance)
                for level, there in zip(a.levels, b.levels, strict=True)
            )
        doubt |= any(
            level.standard_uncertainty > MOST_WIDENED * level.uncertainty_without((COMPONENT,))
            for level in levels
        )
        limbs.append(replace(a, levels=levels))
    return noted(limbs, reason("wetting_uncertain")) if doubt else tuple(limbs)


def _or_other(level: LevelFit, other: LevelFit, chance: float) -> LevelFit:
    """A level with as much as makes its interval hold the other one, too."""
    away = abs(level.height - other.height)
    u = max(math.sqrt(chance), 1.0 / COVERAGE_FACTOR) * away
    return replace(level, components=(*level.components, own_component(COMPONENT, u)))
