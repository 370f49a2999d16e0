"""What stands in the tubes where no instrument file says so.

The network of levels (`limbsight.vision.level_net`) tells how many levels a tube shows and of
what kind: a liquid under gas, a liquid under another, mercury. From the kinds in all limbs
follows what a file would state: mercury or not, buffer liquids, a process liquid in one limb.
Where the limbs contradict each other or a level is neither sure nor surely none, nothing is
stated.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import logit

from limbsight.calib.instrument import LiquidSpec, LiquidsSpec
from limbsight.calib.unknown_scale import LENGTH_UNITS_M
from limbsight.knowledge import AIR, UNKNOWN, WATERY, Knowledge, knowledge_from_picture
from limbsight.level_kinds import LEAST_SHARE, PLAIN_KIND, LevelKind, shares_of_kinds
from limbsight.unit_by_size import SeenSizes, unit_by_size, units_by_size
from limbsight.unknown_liquids import OIL
from limbsight.vision.dark_line import DarkLine
from limbsight.vision.level_choice import LIKELY
from limbsight.vision.level_net import NO_TUBE_STATE, TubeView

SURELY_NONE = 0.1
"""Probability of a level under which it surely is none."""
ONE_FILLING = 0.2
"""Share of the change of colours at a level, from which on fillings below it may be two: 0.27
and more at 78 boundaries below plugs, less at 15 of 21 places without one that the network did
not surely take for none (543 photos of two renderers).  Plugs on mercury that it hardly saw in
one limb, and not at all in the other, were read as single levels, 16 mm off."""
LIKELY_TOGETHER = 0.3
"""Where several limbs show as many places, their least probabilities, by the mean of the
logarithms of their odds, from which on all are levels: 0.35 and more in four of 349 photos of
random looks in which no limb shows its number plainly, rightly in all (plugs on mercury).  A
single limb tells nothing by that."""
MOST_LEVELS = 3
SURE_LEVEL, TUBE, NO_TUBE = 0.8, 0.3, 0.7
"""Of 1157 looks at tubes on drawn photos 1143 show no tube to less than 0.3, and 1150 show a
level to 0.8; of 2001 looks at other places one does both."""
PROPOSED, UNPROPOSED = 0.35, 0.2
"""Probabilities that the networks of limbs give together: of 1887 tubes on 888 boards of 296
photos (path-traced by two renderers, and drawn; none trained on) 59 have less than the first
and 28 less than the second; of other places 11 reach the first and 48 the second. What is
below is none, unless the network of levels surely sees a tube: so were two limbs whose level a
cable hid, or that was off the scale, of three whose photos were read as of a single limb."""
BARELY_PROPOSED = 0.12
"""Below, a place is none unless its level is sure: 12 of those 1887 tubes have less, and of
other places 148 reach it; lines of graph paper, in which the network of levels sees tubes
throughout, pass for levels with up to 0.46, and shadows beside a lone tube with up to 0.78."""
WIDTH_ERROR = 1.3
"""Ratio by which the width that the network finds may be off: 98 of 100 drawn photos and 19 of
20 of another renderer are nearer."""
ABOUT_LEVEL = 5.0
"""Distances of two levels at least, up and down: a tube that is shorter than a metre stick is
no tube along most of it. Two of 16 photos with such sticks had their tube passed over."""
BESIDE_WIDTHS = (-0.3, -0.15, 0.15, 0.3)
"""Where a place in doubt is looked at once more. Of five looks at each of 66 tubes that show
no level the second least probability of no tube was 0.43 under a cover and 0.15 at most
elsewhere; of 60 places that are no tube, and that one look left in doubt, 35 had more than a
half (drawn photos, with the right width)."""
AXIS_ERROR_WIDTHS = 0.3
"""Farther off its axis a tube shows no level to the network."""
OVER_MERCURY = "unknown upper liquid"
FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenLevel:
    """Where a level may be in one tube.

    Attributes
    ----------
    row
    probability
        That it is one.
    shares
        Of the kinds under gas, under liquid, mercury in that, by the network and by the line.
    """

    row: float
    probability: float
    shares: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenLevels:
    """Levels that one tube may have: all places that surely are none, or can be none beside
    likelier ones, left out."""

    places: tuple[SeenLevel, ...]

    @property
    def is_plain(self) -> bool:
        """Whether the number of levels is beyond doubt."""
        return all(place.probability >= LIKELY for place in self.places)


def seen_levels(
    view: TubeView,
    rows: tuple[float, float],
    line_at: Callable[[float], DarkLine | None],
    change_at: Callable[[float, TubeView], float],
) -> SeenLevels:
    """Say which levels a tube shows between two rows.

    Parameters
    ----------
    view
        What the network sees in the tube.
    rows
        First and last row in which a level may lie.
    line_at
        How dark the tube is at a row.
    change_at
        How far the colours above and below a row differ, covers left out.
    """
    found = []
    for place in view.places(rows):
        if place.probability > SURELY_NONE:
            found.append(
                SeenLevel(
                    row=place.row,
                    probability=place.probability,
                    shares=tuple(shares_of_kinds(view, place.row, line_at).tolist()),
                )
            )
    return SeenLevels(places=_possible(found, lambda place: change_at(place.row, view)))


def _possible(
    places: Sequence[SeenLevel], change: Callable[[SeenLevel], float]
) -> tuple[SeenLevel, ...]:
    """Leave out unlikely places at which there can be no level beside the likely ones.

    In a column that is whole nothing is above a level under gas, nor below mercury, and below
    a level colours change at another. A place that is likely all the same speaks for a broken
    column, and stays; so do several, of which one at least is likely: 0.63 and 0.68 for two
    broken columns, 0.47 at most for 509 limbs that are whole (path-traced photos).
    """
    likely = [place for place in places if place.probability >= LIKELY]

    def is_possible(place: SeenLevel) -> bool:
        probability = place.probability
        for other in likely:
            lower, upper = sorted((place, other), key=lambda p: -p.row)
            probability *= 1 - lower.shares[LevelKind.UNDER_GAS - 1]
            probability *= 1 - upper.shares[LevelKind.MERCURY - 1]
        if probability <= SURELY_NONE:
            return False
        above = [other for other in likely if other.row < place.row]
        return not above or change(place) >= ONE_FILLING * max(map(change, above))

    possible = [place for place in places if place in likely or is_possible(place)]
    none_of_the_rest = np.prod([1 - p.probability for p in places if p not in possible])
    return tuple(places if none_of_the_rest <= 1 - LIKELY else possible)


@dataclass(frozen=True, slots=True, kw_only=True)
class LookedAt:
    """One candidate for a tube, as the network of levels sees it.

    Attributes
    ----------
    column
        Of its axis on the straightened board.
    count_levels
        Gives the levels in it, where they are asked for: of a tube that is chosen.
    best_level
        Probability of its likeliest level.
    no_tube
        Mean probability over its rows that there is no tube.
    no_tube_about
        The same over those about its likeliest level.
    proposed
        Probability of a tube there that the network of limbs gives.
    """

    column: float
    count_levels: Callable[[], SeenLevels]
    best_level: float
    no_tube: float
    no_tube_about: float
    proposed: float

    @property
    def is_tube(self) -> bool:
        """Whether it surely is a tube with a level."""
        looks_so = self.no_tube <= TUBE or self.proposed >= PROPOSED
        looks_so |= self.no_tube_about <= TUBE and self.proposed >= UNPROPOSED
        return self.best_level >= SURE_LEVEL and looks_so

    @property
    def is_none(self) -> bool:
        """Whether it surely is no tube."""
        if self.proposed < BARELY_PROPOSED and self.best_level < SURE_LEVEL:
            return True
        looks_none = self.no_tube >= NO_TUBE
        looks_none |= self.no_tube > TUBE and self.proposed < UNPROPOSED
        return self.best_level < SURELY_NONE and looks_none


def looked_at(
    view: TubeView,
    look_again: Callable[[], TubeView],
    rows: tuple[float, float],
    column: float,
    proposed: float,
    line_at: Callable[[float], DarkLine | None],
    change_at: Callable[[float, TubeView], float],
) -> LookedAt:
    """Judge a candidate for a tube by what the network of levels sees in it.

    Its levels are counted in the mean of that and what ``look_again`` gives: plugs on mercury
    that the first network alone missed in both limbs were read as single levels.
    """

    def count_levels() -> SeenLevels:
        return seen_levels(view.pooled(look_again()), rows, line_at, change_at)

    inside = (view.rows >= rows[0]) & (view.rows <= rows[1])
    at, level = view.rows[inside], view.level[inside]
    no_tube = view.states[inside, NO_TUBE_STATE]
    if not len(at):
        at, level, no_tube = np.zeros(1), np.zeros(1), np.ones(1)
    best = int(np.argmax(level))
    about = np.abs(at - at[best]) <= ABOUT_LEVEL * view.apart
    return LookedAt(
        column=column,
        count_levels=count_levels,
        best_level=float(level[best]),
        no_tube=float(no_tube.mean()),
        no_tube_about=float(no_tube[about].mean()),
        proposed=proposed,
    )


def is_none_beside(looks: Sequence[LookedAt]) -> bool:
    """Whether looks at a place and close beside it agree that there is no tube: all but one.

    Edges of planks, rims of scales and figures look a little like a tube from one column.
    A tube does so over a third of its width.
    """
    no_tube = sorted(look.no_tube for look in looks)[1]
    level = sorted(look.best_level for look in looks)[-2]
    return no_tube >= LIKELY and level < LIKELY


def choose_tubes(
    candidates: Sequence[LookedAt],
    width_columns: float,
    beside: Callable[[LookedAt], Sequence[LookedAt]],
) -> tuple[tuple[LookedAt, ...], bool]:
    """Choose the tubes among candidates that may overlap.

    Parameters
    ----------
    candidates
        In any order.
    width_columns
        Outside diameter.
    beside
        Looks close beside a candidate, at ``BESIDE_WIDTHS``; asked where there is doubt.

    Returns
    -------
    tubes
        Left to right.
    certain
        Whether each tube is one surely, and each other candidate, unless it overlaps a sure
        tube or stands out of step with two, is surely none.
    """
    ranked = sorted(candidates, key=lambda c: -(c.best_level + 1 - c.no_tube))
    tubes: list[LookedAt] = []
    doubted: list[LookedAt] = []
    for candidate in ranked:
        if any(abs(candidate.column - tube.column) < width_columns for tube in tubes):
            continue
        if candidate.is_none:
            continue
        if not candidate.is_tube:
            around = beside(candidate)
            shown = [look for look in around if look.is_tube]
            if is_none_beside([candidate, *around]):
                continue
            if shown and candidate.proposed >= PROPOSED:
                # The place was off the axis, from where the level is hardly seen.
                candidate = max(shown, key=lambda look: look.best_level)
            else:
                doubted.append(candidate)
        if candidate.is_tube or candidate.no_tube <= 1 - LIKELY:
            tubes.append(candidate)
    sure = [tube for tube in tubes if tube.is_tube]
    if len(sure) > 1:
        # The rod of a stand looks like a tube without a level, but keeps no step with them.
        odd = [one for one in doubted if not is_row(_in_order([*sure, one]), width_columns)]
        tubes = [tube for tube in tubes if tube not in odd]
        doubted = [one for one in doubted if one not in odd]
    return tuple(_in_order(tubes)), bool(tubes) and not doubted


def _in_order(tubes: Sequence[LookedAt]) -> list[LookedAt]:
    return sorted(tubes, key=lambda tube: tube.column)


def is_row(tubes: Sequence[LookedAt], width_columns: float) -> bool:
    """Whether the tubes may be those of one bank, which stand evenly.

    Two U-tubes side by side make uneven rows, and only one of them belongs to the scale. Two
    axes of a gap may both be off, and the width may be found too small.
    """
    gaps = np.diff([tube.column for tube in tubes])
    bearable = 2 * AXIS_ERROR_WIDTHS * WIDTH_ERROR * width_columns
    return len(gaps) < 2 or float(np.ptp(gaps)) <= bearable


def with_unit(
    known: Knowledge, sizes: SeenSizes, unit_printed: str | None
) -> tuple[Knowledge, str | None]:
    """Settle the unit of the scale: as printed, or as the sizes of things tell.

    Parameters
    ----------
    known
        With a unit printed or assumed.
    sizes
        Seen in scale units.
    unit_printed
        As read, or None.

    Returns
    -------
    known
    source
        What the unit rests on, in words; None where two units would do, or another one than
        was read: letters are small, and are taken for others.
    """
    if unit_printed is not None:
        against = unit_printed in LENGTH_UNITS_M and unit_printed not in units_by_size(sizes)
        return known, None if against else "as printed"
    unit = unit_by_size(sizes)
    if unit is None:
        return known, None
    scale = replace(known.instrument.scale, unit=unit, unit_m=LENGTH_UNITS_M[unit])
    depth_m = known.instrument.tube.axis_to_scale_m
    in_unit = knowledge_from_picture(scale, depth_m)
    return in_unit, "by the usual size of tubes, figures and distances"


def fillings_text(known: Knowledge) -> str:
    """Name what the tubes are taken to hold, bottom to top."""
    liquids = known.instrument.liquids
    names = [liquids.manometric.name, *(seal.name for seal in liquids.seals)]
    return " below ".join([*names, liquids.process.name])


def with_fillings(
    known: Knowledge, names: Sequence[str], seen: Sequence[SeenLevels]
) -> tuple[Knowledge, bool]:
    """State the liquids that the levels of all limbs agree on.

    Parameters
    ----------
    known
        With the number and the width of the limbs.
    names, seen
        Of each limb, left to right.

    Returns
    -------
    known, sure
        Unchanged and False where the limbs do not agree.
    """
    count = _count(seen)
    if count is None:
        return known, False
    shares = [_shares_of(limb, count) for limb in seen]
    kinds = _agreed_kinds(shares)
    if kinds is None:
        return known, False
    tops = [top for *_, top in kinds]
    below_top = {kind for *below, _ in kinds for kind in below[1:]}
    gas_within = any(LevelKind.UNDER_GAS in below for *below, _ in kinds)
    if gas_within or LevelKind.MERCURY in below_top:
        return known, False
    under_liquid = [
        name for name, top in zip(names, tops, strict=True) if top is LevelKind.UNDER_LIQUID
    ]
    if 0 < len(under_liquid) < len(names) and (len(names) != 2 or len(under_liquid) != 1):
        return known, False
    mercury = kinds[0][0] is LevelKind.MERCURY
    return _stated(known, count - 1, mercury, under_liquid, len(names)), True


def _count(seen: Sequence[SeenLevels]) -> int | None:
    """Levels in each limb: as those agree in which the number is plain, or as all do where it
    is in none; None if they don't.

    The others must have as many places at least, and no more in most limbs. Whether those are
    levels is for the doubts of each limb to say.
    """
    plain = {len(limb.places) for limb in seen if limb.is_plain}
    if not plain and _bear_out(seen):
        plain = {len(limb.places) for limb in seen}
    if len(plain) != 1:
        return None
    count = plain.pop()
    enough = all(len(limb.places) >= count for limb in seen)
    enough &= 2 * sum(len(limb.places) == count for limb in seen) > len(seen)
    return count if enough and 1 <= count <= MOST_LEVELS else None


def _bear_out(seen: Sequence[SeenLevels]) -> bool:
    """Whether limbs, none of which shows its levels plainly, do so together."""
    least = [min((place.probability for place in limb.places), default=0.0) for limb in seen]
    return len(seen) > 1 and float(np.mean(logit(least))) >= logit(LIKELY_TOGETHER)


def _shares_of(limb: SeenLevels, count: int) -> FloatArray:
    """Shares of the kinds of a limb's likeliest levels, bottom to top, shape (count, 3)."""
    likeliest = sorted(limb.places, key=lambda p: -p.probability)[:count]
    shares = [p.shares for p in sorted(likeliest, key=lambda p: -p.row)]
    return np.asarray(np.maximum(np.array(shares), LEAST_SHARE))


def _agreed_kinds(shares: Sequence[FloatArray]) -> list[tuple[LevelKind, ...]] | None:
    """Kinds of the levels of each limb, bottom to top; None where one is not sure.

    What the limbs have in common is weighed together: all levels but the highest, and whether
    the lowest is mercury. The highest may be under gas in one limb and under a liquid in
    another.
    """
    together = np.prod(np.array(shares), axis=0)
    found = []
    for limb in shares:
        weights = together.copy()
        weights[-1] = limb[-1]
        if len(limb) == 1:
            # The others tell mercury from no mercury.
            mercury = LevelKind.MERCURY - 1
            rest = [max(1 - other[0, mercury], LEAST_SHARE) for other in shares]
            own = max(1 - limb[0, mercury], LEAST_SHARE)
            weights[0, mercury] = together[0, mercury]
            weights[0, :mercury] *= np.prod(rest) / own
        weights /= weights.sum(axis=1, keepdims=True)
        if weights.max(axis=1).min() < PLAIN_KIND:
            return None
        found.append(tuple(LevelKind(1 + int(k)) for k in weights.argmax(axis=1)))
    return found


def _stated(
    known: Knowledge, seals: int, mercury: bool, under_liquid: list[str], limbs: int
) -> Knowledge:
    over = OVER_MERCURY if mercury else OIL
    lowest = "mercury" if mercury else WATERY if seals or under_liquid else UNKNOWN
    liquids = LiquidsSpec(
        manometric=LiquidSpec(name=lowest),
        process=LiquidSpec(name=over) if under_liquid else AIR,
        seals=tuple(LiquidSpec(name=over) for _ in range(seals)),
    )
    tapped = under_liquid[0] if 0 < len(under_liquid) < limbs else None
    instrument = replace(known.instrument, liquids=liquids, tapped_limb=tapped)
    return replace(known, instrument=instrument, fillings_seen=True)
