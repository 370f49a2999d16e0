"""What the network of levels might see in a tube."""

from __future__ import annotations

import numpy as np

from limbsight.level_kinds import LevelKind
from limbsight.vision.level_net import TubeView


def view_with(*levels: tuple[int, float, LevelKind]) -> TubeView:
    """A view of 200 places two rows apart, with levels at (place, probability, kind)."""
    kinds = np.tile([1.0, 0.0, 0.0, 0.0], (200, 1))
    for place, probability, kind in levels:
        kinds[place] = 0.0
        kinds[place, 0] = 1 - probability
        kinds[place, kind] = probability
    return TubeView(
        rows=np.arange(0.0, 400.0, 2.0),
        kinds=kinds,
        states=np.full((200, 4), 0.25),
        apart=20.0,
    )
