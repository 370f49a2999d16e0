"""Levels of liquids that nobody named: what may be otherwise, and what it costs.

The bore that the picture shows is made wider and narrower by its standard uncertainty: the
fit may jump to another place, which no sensitivity at the first one tells. A level under gas
is fitted as one of water and as one of oil, and lies between the two, nearer to what explains
it better. One that looks like no meniscus of a middling liquid may look like one of water, of
an oil, or in another bore.

Where two liquids stand over each other the lower one is mostly water or a solution in water
and the upper one an oil, and water wets clean glass.  That is what is fitted.  A heavy organic
liquid under water, and glass that the oil wets, are fitted too.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from limbsight.calib.height_components import Component, own_component
from limbsight.calib.heights import LevelFit
from limbsight.calib.instrument import LiquidSpec
from limbsight.calib.meniscus_outcome import MISFIT_LIMIT
from limbsight.knowledge import U_SEEN_WIDTH, UNKNOWN, WATERY, Knowledge

OIL = "unknown oil"
"""By this word ``limbsight.liquid_optics`` takes it for oil."""
HEAVY = "unknown halogenated liquid"
CLEARLY_WORSE = 1.5
"""Ratio of misfits from which on a fit is no rival, as between mercury and other liquids."""
HEAVY_SHARE, OIL_WETS_SHARE = 0.2, 0.1
"""How often a heavy organic liquid stands under water, and how often the oil wets the glass
(judgement, no source)."""
WETTING_TELLS = 4.0
"""Which liquid wets the glass shows in the picture: of 82 levels of water under oil, water
wetting, a fit with oil wetting leaves 1.5 times as much unexplained (geometric mean, scatter a
factor of 1.4).  Were it the other way about as plain, odds would grow by the eighth power of
that ratio; by half of it, since no photo with oil wetting was seen.  A heavy liquid under
water is told by nothing (1.0 times, a factor of 1.4)."""
BEST_MISFIT = 0.01
"""Of the brightness about a meniscus that the right liquid leaves unexplained at best: fits
that leave less tell liquids apart no better (judgement, no source)."""

DOUBTFUL_MISFIT = 0.3 * MISFIT_LIMIT
UNDER_WATER_RATIO = 2.5
"""A level taken for one under gas that looks so little like a meniscus, and so many times more
like one under water, may be that. Of 356 levels under gas on renders and sample photos two
did (2.9 times both); of two levels under a liquid, taken for ones under gas and 1.06 and
1.25 mm off at u 0.18 and 0.30, the ratio was 6 and 3."""


FitLevel = Callable[[Knowledge], LevelFit]
"""Fits one level with what is known."""


def widened(
    level: LevelFit,
    known: Knowledge,
    fit: FitLevel,
    *,
    between_liquids: bool,
) -> LevelFit:
    """Add what another bore, and between liquids other liquids, would make of a level.

    Parameters
    ----------
    level
        As fitted with what is taken for granted.
    known
        That.
    fit
        Fits the same level with other knowledge.
    between_liquids
        Whether it is between two liquids.

    Returns
    -------
    LevelFit
        With one component more, or two.  The answer with another bore, a standard uncertainty
        off, differs by one standard uncertainty; one of two answers that is right with
        probability p adds sqrt(p (1 - p)) of their difference.
    """
    parts, likely = [], level
    if known.instrument.liquids.manometric.name == UNKNOWN and not between_liquids:
        parts += _under_water_instead(level, known, fit)
        level, likely, known = _of_either_liquid(level, known, fit)
    bores = [fit(_of_width(known, way)) for way in (-1, 1)]
    parts.append(own_component("unknown bore", max(_apart(likely, other) for other in bores)))
    if between_liquids:
        heavy = fit(_heavy_under_water(known))
        oil_wets = fit(replace(known, upper_wets=True))
        chances = (
            (heavy, HEAVY_SHARE),
            (oil_wets, _chance(OIL_WETS_SHARE, level, oil_wets)),
        )
        u_liquids = [np.sqrt(p * (1 - p)) * _apart(level, other) for other, p in chances]
        parts.append(own_component("unknown liquids", float(np.hypot(*u_liquids))))
    return replace(level, components=(*level.components, *parts))


def _of_either_liquid(
    level: LevelFit, known: Knowledge, fit: FitLevel
) -> tuple[LevelFit, LevelFit, Knowledge]:
    """Mean of a level of water and of oil, the likelier of the two, and what that supposes.

    Each weighs by the inverse square of what it leaves unexplained: of 44 levels of 26 sample
    photos, told bore and depth, the errors (root mean square) fall from 0.10 mm for one of a
    middling liquid to 0.05. The level itself where it looks like a meniscus of neither.
    """
    guesses = [_of(known, name) for name in (WATERY, OIL)]
    tried = [(fit(guess), guess) for guess in guesses]
    tried = [(found, guess) for found, guess in tried if found.apex.ok]
    if not tried:
        return level, level, known
    weights = np.array([1 / _left_over(found) for found, _ in tried])
    weights /= weights.sum()
    places = np.array([(found.height, found.x_px, found.y_px) for found, _ in tried])
    height, x, y = (weights @ places).tolist()
    u = float(np.sqrt(weights @ (places[:, 0] - height) ** 2))
    best, guess = tried[int(np.argmax(weights))]
    components = (*best.components, own_component("unknown liquid", u))
    mean = replace(
        best,
        height=height,
        x_px=x,
        y_px=y,
        components=components,
        clear_of_glare=level.clear_of_glare,
    )
    return mean, best, guess


def _under_water_instead(level: LevelFit, known: Knowledge, fit: FitLevel) -> list[Component]:
    """Half the way to what a level under water would be, where it looks much more like one."""
    misfit = level.apex.misfit
    if misfit < DOUBTFUL_MISFIT:
        return []
    liquids = replace(
        known.instrument.liquids,
        manometric=LiquidSpec(name=HEAVY),
        process=LiquidSpec(name=WATERY),
        seals=(),
    )
    instrument = replace(known.instrument, tapped_limb=None, liquids=liquids)
    other = fit(replace(known, instrument=instrument))
    if UNDER_WATER_RATIO * other.apex.misfit > misfit:
        return []
    return [own_component("liquid above", 0.5 * abs(level.height - other.height))]


def explained(level: LevelFit, known: Knowledge, fit: FitLevel) -> LevelFit:
    """Explain a level that looks like no meniscus by another bore or liquid, if one does.

    Parameters
    ----------
    level, known, fit
        As of ``widened``.

    Returns
    -------
    LevelFit
        The best looking of those that do, with its greatest difference from the others and
        from the level as a component: each may be the right one. The level itself where none
        does.
    """
    others = [_of_width(known, way) for way in (-1, 1)]
    if known.instrument.liquids.manometric.name == UNKNOWN:
        others += [_of(known, name) for name in (WATERY, OIL)]
    tried = [fit(other) for other in others]
    alike = sorted(
        (found for found in tried if found.apex.ok), key=lambda found: found.apex.misfit
    )
    if not alike:
        return level
    best = alike[0]
    u = max(abs(best.height - other.height) for other in (level, *alike))
    parts = (*best.components, own_component("unknown bore or liquid", u))
    return replace(best, components=parts)


def _of(known: Knowledge, manometric: str) -> Knowledge:
    liquids = replace(known.instrument.liquids, manometric=LiquidSpec(name=manometric))
    return replace(known, instrument=replace(known.instrument, liquids=liquids))


def _apart(level: LevelFit, other: LevelFit) -> float:
    """Distance of another answer; none if it looks clearly less like a meniscus."""
    answers = other.apex.ok and other.apex.misfit <= CLEARLY_WORSE * level.apex.misfit
    return abs(level.height - other.height) if answers else 0.0


def _chance(share: float, level: LevelFit, other: LevelFit) -> float:
    """Chance that the oil wets the glass, which it does so often, by what both leave over."""
    less = _left_over(level) / _left_over(other)
    odds = share / (1 - share) * less ** (0.5 * WETTING_TELLS)
    return float(odds / (1 + odds))


def _left_over(fit: LevelFit) -> float:
    """Square of what a fit leaves unexplained, and of what the right liquid would at best."""
    return BEST_MISFIT**2 + fit.apex.misfit**2


def _of_width(known: Knowledge, errors: float) -> Knowledge:
    """A tube whose bore, and outside diameter with it, is so many standard errors wider."""
    tube = known.tube
    tube = replace(
        tube,
        bore_radius_m=tube.bore_radius_m + errors * tube.u_bore_radius_m,
        outer_radius_m=tube.outer_radius_m * (1 + errors * U_SEEN_WIDTH),
    )
    return replace(known, tube=tube)


def _heavy_under_water(known: Knowledge) -> Knowledge:
    def swapped(liquid: LiquidSpec) -> LiquidSpec:
        return replace(liquid, name={WATERY: HEAVY, OIL: WATERY}.get(liquid.name, liquid.name))

    liquids = known.instrument.liquids
    liquids = replace(
        liquids,
        manometric=swapped(liquids.manometric),
        process=swapped(liquids.process),
        seals=tuple(swapped(seal) for seal in liquids.seals),
    )
    return replace(known, instrument=replace(known.instrument, liquids=liquids))
