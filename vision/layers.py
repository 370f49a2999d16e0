"""What one tube holds: the levels between its fillings, and what hides them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class Interface:
    """A change of filling.

    Attributes
    ----------
    row
        Height of the strongest step.
    step
        Colour difference across it [grey levels, summed over three colours].
    apex_row
        Where the level network sees the apex of its meniscus; None where it does not.
    """

    row: float
    step: float
    apex_row: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Layers:
    """What one tube holds.

    Attributes
    ----------
    interfaces
        Bottom to top.
    hidden
        Stretches of rows (first, last) covered by something in front of the tube.
    hidden_change
        The hidden stretch that has different fillings above and below, or None.
    rival
        An interface that was left out though it is nearly as clear, or None.
    visible
        First and last row between the cap and the block, as far as they were seen.
    doubted
        Another opinion finds one of the interfaces unlikely, or sees one more.
    unexplained
        Departure from one colour for each filling, over that from one colour for all.
    """

    interfaces: tuple[Interface, ...]
    hidden: tuple[tuple[int, int], ...]
    hidden_change: tuple[int, int] | None
    rival: Interface | None
    visible: tuple[int, int]
    doubted: bool = False
    unexplained: float = 1.0
