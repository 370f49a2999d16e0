"""Whether levels look like those of the liquids that the instrument file states.

The fit of a meniscus does not tell: that of mercury fits coloured water as well, 1.5 to 3 mm
too high, and 27 of 40 photos with such a file were read. The network of levels tells a liquid
under gas, one under another and mercury apart, and so does how dark the line at a level is.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from functools import partial
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from limbsight.knowledge import Knowledge
from limbsight.level_kinds import (
    LEAST_SHARE,
    SURE_KIND,
    LevelKind,
    shares_of_kinds,
    stated_kind,
)
from limbsight.read_limb import Limb
from limbsight.reasons import limb_text, reason
from limbsight.records import Reason
from limbsight.vision.dark_line import line_in_strip
from limbsight.vision.level_choice import LIKELY
from limbsight.vision.level_net import TubeView, look_again

FloatArray = NDArray[np.float64]

LOOKS_LIKE = {
    LevelKind.UNDER_GAS: "a liquid under a gas, and no mercury",
    LevelKind.UNDER_LIQUID: "one liquid under another",
    LevelKind.MERCURY: "mercury",
}

ALIKE = {LevelKind.UNDER_LIQUID, LevelKind.MERCURY}
"""Kinds that the network takes for each other at times, and surely: of 170 levels of mercury
and 81 between liquids eight with 0.98 and more, of 1012 under gas none for either."""

Level = tuple[Limb, int]
"""The k-th level of a limb, from the bottom."""


def liquid_doubts(limbs: Sequence[Limb], known: Knowledge) -> tuple[Reason, ...]:
    """Name levels that surely look like those of other liquids than the file states.

    Levels that stand for the same, as those of both limbs of a U-tube, are weighed together,
    and all must look alike.  Both networks are asked before it is said.
    """
    found = []
    for stated, group in _groups(limbs, known).items():
        instead = _seen_instead(group, stated.kind, [limb.network for limb, _ in group])
        if instead is None:
            continue
        both = [limb.network.pooled(look_again(limb.tube.seen)) for limb, _ in group]
        if _seen_instead(group, stated.kind, both) is instead:
            names = [limb.name for limb, _ in group]
            found.append(
                reason(
                    "liquid_differs_from_file",
                    limb=names[0] if len(names) == 1 else None,
                    where=" and ".join(map(limb_text, names)),
                    seen=LOOKS_LIKE[instead],
                    stated=f"{stated.below} under {stated.above}",
                )
            )
    return tuple(found)


class _Stated(NamedTuple):
    """What the file states of a level: its place from the bottom, and what is about it."""

    k: int
    kind: LevelKind
    below: str
    above: str


def _groups(limbs: Sequence[Limb], known: Knowledge) -> dict[_Stated, list[Level]]:
    """Levels of which the file states the same."""
    groups: dict[_Stated, list[Level]] = defaultdict(list)
    for limb in limbs:
        for k in range(min(len(limb.layers.interfaces), known.level_count(limb.name))):
            groups[_stated(known, limb.name, k)].append((limb, k))
    return groups


def _stated(known: Knowledge, limb: str, k: int) -> _Stated:
    kind = stated_kind(known, limb, k)
    return _Stated(k, kind, known.filling(limb, k), known.filling(limb, k + 1))


def _seen_instead(
    group: list[Level], stated: LevelKind, views: list[TubeView]
) -> LevelKind | None:
    """What the levels of a group all look like, and surely together, if that is not stated."""
    found = [_shares(limb, k, view) for (limb, k), view in zip(group, views, strict=True)]
    shares = np.array([one for one in found if one is not None])
    if len(shares) < len(group):
        return None
    likeliest = set(shares.argmax(axis=1))
    instead = LevelKind(1 + int(likeliest.pop()))
    if likeliest or instead is stated or {instead, stated} == ALIKE:
        return None
    share = shares[:, instead - 1]
    odds = float(np.prod(share / (1 - share)))
    return instead if odds >= SURE_KIND / (1 - SURE_KIND) else None


def _shares(limb: Limb, k: int, view: TubeView) -> FloatArray | None:
    """Shares of the kinds in the k-th level, shape (3,); None where none is seen there."""
    interface = limb.layers.interfaces[k]
    about = interface.row if interface.apex_row is None else interface.apex_row
    near = np.where(np.abs(view.rows - about) <= view.apart, view.level, 0.0)
    if near.max(initial=0.0) < LIKELY:
        return None
    row = float(view.rows[int(np.argmax(near))])
    line_at = partial(line_in_strip, limb.tube.seen)
    shares = np.maximum(shares_of_kinds(view, row, line_at), LEAST_SHARE)
    return np.asarray(shares / shares.sum())
