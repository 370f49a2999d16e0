"""Two opinions on the levels of one tube made one: steps of colour, and the network's.

Steps of colour (``levels.py``) show what changes, the network (``level_net.py``) what looks
like a level. The number of levels is known. The likeliest places of the network are taken
where they stand out from all others, and without doubt where it is sure of them or the steps
mark the same ones. Else those of the steps stand, and are doubted where the network finds
one of them unlikely or another place likely.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from limbsight.vision.layers import Interface, Layers
from limbsight.vision.level_net import Place, TubeView

SURE = 0.9
"""Probability from which on a level is taken without doubt."""
LIKELY = 0.5
CLEAR_ODDS = (SURE / (1 - SURE)) ** 2
"""Least ratio of the odds of a place chosen and one left: as between sure and surely not."""
STEP_ODDS, MISSED_ODDS = 50.0, 0.5
"""What plain steps do to the odds of a place: for one that they mark, for another. On strips
of 376 levels, traced and drawn, with axes off by 6 %, they mark half the levels, and one
false place, conspicuous or not, in twenty tubes."""
BROKEN = 0.1
"""A column that is whole has one level under gas. Of 1071 limbs of 488 path-traced photos five
show two networks alike another one, each to so much; of eight broken columns six do."""
MOST_EXPLAINED = 0.1
"""Share of a tube's colours left unexplained by plain steps, below which they are of a liquid
that shows. A stain on the glass above one, with 0.045, was read as its level. Where the
network rightly took another place, steps left 0.15 and more (eight of 440 levels)."""
SAME_WIDTHS = 0.3
"""Opinions nearer to each other than this, in outside diameters (half a bore), are one."""


def settle(
    layers: Layers, view: TubeView, width_columns: float, count: int, rows: tuple[int, int]
) -> Layers:
    """Choose the levels of a tube.

    Parameters
    ----------
    layers
        As the steps of colour say.
    view
        As the network says.
    width_columns
        Outside diameter in columns.
    count
        Number of levels the instrument has in this limb.
    rows
        First and last row in which a level may lie.

    Returns
    -------
    Layers
        ``doubted`` if a level is unlikely by either opinion, or one more is as likely;
        ``hidden_change`` where one lies at the edge of a cover.
    """
    found = _settled(layers, view, width_columns, count, rows)
    cover = _cover_beside(found, view, SAME_WIDTHS * width_columns)
    return replace(found, hidden_change=found.hidden_change or cover)


def settle_by_both(
    layers: Layers,
    view: TubeView,
    look_again: Callable[[], TubeView],
    width_columns: float,
    count: int,
    rows: tuple[int, int],
) -> tuple[Layers, TubeView]:
    """Choose the levels of a tube; where that leaves a doubt, by the mean with another view.

    Arguments as of ``settle``; ``look_again`` gives the other view, where it is asked for.

    Returns
    -------
    layers, view
        The choice, and the view that it rests on.
    """
    same = SAME_WIDTHS * width_columns
    found = settle(layers, view, width_columns, count, rows)
    doubtful = is_in_doubt(found, count)
    if not (doubtful or _others_under_gas(found, view, rows, same)):
        return found, view
    again, seen = look_again(), view
    if doubtful:
        seen = view.pooled(again)
        found = settle(layers, seen, width_columns, count, rows)
    others = _others_under_gas(found, view, rows, same)
    broken = any(again.under_gas(place.row, same) >= BROKEN for place in others)
    return replace(found, doubted=found.doubted or broken), seen


def _others_under_gas(
    layers: Layers, view: TubeView, rows: tuple[int, int], same: float
) -> list[Place]:
    """Places that may be levels under gas, beside the ones chosen."""
    return [
        place
        for place in view.places(rows)
        if view.under_gas(place.row, 0.5 * same) >= BROKEN
        and not _near(place, layers, view.apart)
    ]


def is_in_doubt(layers: Layers, count: int) -> bool:
    """Whether levels are missing or doubted, another one competes, or a cover may hide one."""
    unclear = layers.doubted or layers.rival is not None or layers.hidden_change is not None
    return unclear or len(layers.interfaces) < count


def at_cover_seen_before(
    layers: Layers, before: Layers, view: TubeView, near_rows: float
) -> Layers:
    """Keep a cover that hides a level, seen about another axis, where a level is at its edge.

    About an axis that the cover's own edge has set, the cover may no longer look like one.
    Where the network takes the level for likely, though, the cover was a mistake of the axis
    before.  Both are in rows of strips along the same stretch of tube.
    """
    if before.hidden_change is None:
        return layers
    first, last = before.hidden_change
    at_edge = any(
        first - near_rows <= i.row <= last + near_rows and view.near(i.row, near_rows) < LIKELY
        for i in layers.interfaces
    )
    return replace(layers, hidden_change=before.hidden_change) if at_edge else layers


def _cover_beside(layers: Layers, view: TubeView, same: float) -> tuple[int, int] | None:
    """Rows about a level next to which the network sees a cover, or None.

    The edge of a cover is as sharp and as wide as a level, and only by chance ends just where
    one is; a sleeve as wide as the tube shows nothing beside it by which steps could tell. At
    305 levels of traced and drawn photos it sees a cover with 0.30 at most, at the edge of a
    label over a level that it took for one with 0.91.  One that it is sure of may stand nearer
    to a clip: two of 388 levels of drawn photos did, half a diameter below.
    """
    for interface in layers.interfaces:
        row, reach = interface.row, view.apart
        apex = interface.apex_row
        if apex is not None and view.near(apex, same) >= SURE:
            row, reach = apex, same
        if view.covered(row, reach) >= LIKELY:
            return round(row - reach), round(row + reach)
    return None


def _settled(
    layers: Layers, view: TubeView, width_columns: float, count: int, rows: tuple[int, int]
) -> Layers:
    same = SAME_WIDTHS * width_columns
    places = view.places(rows)
    chosen, left = places[:count], places[count:]
    if len(chosen) == count:
        odds, other = _odds_of(layers, view, chosen, left, same)
        alone = other < _odds(LIKELY) and odds >= CLEAR_ODDS * other
        if alone and odds >= _odds(LIKELY):
            found = _with_places(layers, view, chosen, same)
            elsewhere = _explain_elsewhere(layers, chosen, 2 * same)
            return replace(found, doubted=odds < _odds(SURE) or elsewhere)
    doubted = any(view.near(i.row, same) < LIKELY for i in layers.interfaces)
    doubted |= any(p.probability > LIKELY and not _near(p, layers, same) for p in places)
    return replace(layers, doubted=doubted)


def _explain_elsewhere(layers: Layers, chosen: tuple[Place, ...], same: float) -> bool:
    """Whether plain steps explain nearly all of the tube without a level that was chosen."""
    marked = all(_near(place, layers, same) for place in chosen)
    alone = _plain(layers) and len(layers.interfaces) == len(chosen)
    return alone and not marked and layers.unexplained < MOST_EXPLAINED


def _odds_of(
    layers: Layers,
    view: TubeView,
    chosen: tuple[Place, ...],
    left: tuple[Place, ...],
    same: float,
) -> tuple[float, float]:
    """Odds of the least likely place chosen and the likeliest one left, by both opinions.

    The edge of a cover deceives both alike: there the steps add nothing.
    """
    odds = _odds(chosen[-1].probability)
    other = _odds(left[0].probability) if left else 0.0
    # A step of colour may be taken at the upper or the lower rim of the meniscus.
    marked = all(
        _near(place, layers, 2 * same) and view.covered(place.row, view.apart) < LIKELY
        for place in chosen
    )
    if marked and _plain(layers):
        return STEP_ODDS * odds, MISSED_ODDS * other
    return odds, other


def _odds(probability: float) -> float:
    return probability / max(1.0 - probability, 1e-9)


def _plain(layers: Layers) -> bool:
    """Whether the steps have no doubts of their own."""
    return layers.hidden_change is None and layers.rival is None


def _near(place: Place, layers: Layers, same: float) -> bool:
    return any(abs(i.row - place.row) <= same for i in layers.interfaces)


def _is_rival(layers: Layers, view: TubeView, least: Place, same: float) -> bool:
    """Whether a second change as clear as the levels remains one beside the ``least`` of them.

    The edge of a clip is as clear, and what the network surely takes for none is none: its
    odds, though steps mark it, must not come near those of the levels.
    """
    if layers.rival is None:
        return False
    odds = STEP_ODDS * _odds(view.near(layers.rival.row, same))
    return CLEAR_ODDS * odds > _odds(least.probability)


def _with_places(
    layers: Layers, view: TubeView, chosen: tuple[Place, ...], same: float
) -> Layers:
    """Put the network's levels in, each where the step of colour is if it has one.

    A rival of steps that are overruled is overruled with them; of one of steps that stand the
    network must be sure that it is none, or a person should see it.
    """
    interfaces, stand = [], True
    for place in sorted(chosen, key=lambda p: -p.row):
        steps = [i for i in layers.interfaces if abs(i.row - place.row) <= same]
        nearest = min(steps, key=lambda i: abs(i.row - place.row), default=None)
        seen = nearest or Interface(row=place.row, step=0.0)
        interfaces.append(replace(seen, apex_row=place.row))
        stand &= _near(place, layers, 2 * same)
    return replace(
        layers,
        interfaces=tuple(interfaces),
        hidden_change=None,
        rival=layers.rival if stand and _is_rival(layers, view, chosen[-1], same) else None,
    )
