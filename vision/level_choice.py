"""Two opinions on the levels of one tube made one: steps of colour, and the network's.

Steps of colour (``levels.py``) show what changes, the network (``level_net.py``) what looks
like a level. Where the network is sure of exactly as many levels as the instrument has, they
are taken. Where it is not, those of the steps stand, and are doubted unless the network finds
each of them likelier than not.
"""

from __future__ import annotations

from dataclasses import replace

from limbsight.vision.level_net import Place, TubeView
from limbsight.vision.levels import Interface, Layers

SURE = 0.9
"""Probability from which on the network decides alone."""
LIKELY = 0.5
BORNE = 0.2
"""Probability that bears a step of colour which has no rival: a step is false in one tube of
ten and then anywhere, so that it multiplies the odds; of 49 false steps on strips of traced
and drawn photos none had more than 0.1."""
CLEAR_ODDS = (SURE / (1 - SURE)) ** 2
"""Least ratio of the odds of a place chosen and one left: as between sure and surely not."""
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
        ``doubted`` if a level is unlikely by either opinion, or one more is as likely.
    """
    same = SAME_WIDTHS * width_columns
    places = view.places(rows)
    chosen, left = places[:count], places[count:]
    if len(chosen) == count and chosen[-1].probability >= LIKELY and _alone(chosen, left):
        doubted = chosen[-1].probability < SURE and not _agree(layers, chosen, same)
        return replace(_with_places(layers, chosen, same), doubted=doubted)
    least = BORNE if _plain(layers) else LIKELY
    doubted = any(view.near(i.row, same) < least for i in layers.interfaces)
    doubted |= any(p.probability > LIKELY and not _near(p, layers, same) for p in places)
    return replace(layers, doubted=doubted)


def _alone(chosen: tuple[Place, ...], left: tuple[Place, ...]) -> bool:
    """Whether no other place comes near to those chosen, the number of levels being known."""
    other = left[0].probability if left else 0.0
    return other < LIKELY and _odds(chosen[-1].probability) >= CLEAR_ODDS * _odds(other)


def _odds(probability: float) -> float:
    return probability / max(1.0 - probability, 1e-9)


def _agree(layers: Layers, chosen: tuple[Place, ...], same: float) -> bool:
    """Whether the steps of colour have the network's levels, and no doubts of their own."""
    # A step of colour may be taken at the upper or the lower rim of the meniscus.
    return _plain(layers) and all(_near(place, layers, 2 * same) for place in chosen)


def _plain(layers: Layers) -> bool:
    return layers.hidden_change is None and layers.rival is None


def _near(place: Place, layers: Layers, same: float) -> bool:
    return any(abs(i.row - place.row) <= same for i in layers.interfaces)


def _with_places(layers: Layers, chosen: tuple[Place, ...], same: float) -> Layers:
    """Put the network's levels in, each where the step of colour is if it has one."""
    interfaces = []
    for place in sorted(chosen, key=lambda p: -p.row):
        steps = [i for i in layers.interfaces if abs(i.row - place.row) <= same]
        nearest = min(steps, key=lambda i: abs(i.row - place.row), default=None)
        interfaces.append(nearest or Interface(row=place.row, step=0.0))
    return replace(layers, interfaces=tuple(interfaces), hidden_change=None, rival=None)
