"""Levels as heights on the scale, with the parts of their uncertainty."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    pass


@dataclass(frozen=True, slots=True, kw_only=True)
class HeightComponent:
    """One part of a level's uncertainty, in the unit of the scale.

    Components with the same ``shared_key`` are fully correlated, in one limb or across
    limbs: each level moves by ``sensitivity_sign * standard_uncertainty`` times the same
    standard variable, so what is common cancels in a difference of levels.
    """

    name: str
    standard_uncertainty: float
    shared_key: str | None = None
    kind: Literal["A", "B"] = "B"
    degrees_of_freedom: float = math.inf
    sensitivity_sign: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelHeight:
    """A level as a signed scale value, with its uncertainty broken down.

    ``unit`` is that of the scale. What a length on the scale is uncertain by (scale
    ``standard_uncertainty``) is added here, so it does not belong into ``components``.
    """

    value: float
    unit: str
    components: tuple[HeightComponent, ...] = ()
