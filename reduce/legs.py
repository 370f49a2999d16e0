"""The chain of legs from the tapping to the reference: the one mechanism for all.

Along a leg of one fluid at rest ``p_end = p_start + rho g (z_start - z_end)``; a chain adds
its legs up. Which legs an instrument makes is the business of ``arrangements``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from limbsight.reduce.elementary import Number


@dataclass(frozen=True, slots=True, kw_only=True)
class Leg:
    """One fluid between two points at different heights."""

    fluid: str
    start: str
    end: str
    limb: str = ""
    """Whose temperature the fluid has; empty for the common one."""


def pressure_difference(
    legs: Sequence[Leg],
    heights_m: Mapping[str, Number],
    densities_kg_m3: Mapping[tuple[str, str], Number],
    gravity_m_s2: Number,
) -> Number:
    """Pressure at the start of the chain less that at its end.

    Parameters
    ----------
    legs
        In order; each starts where the one before ended.
    heights_m : mapping from point to float or ndarray, [m]
        Upward from any one datum.
    densities_kg_m3 : mapping from (fluid, limb) to float or ndarray, [kg/m3]
    gravity_m_s2 : float or ndarray, [m/s2]

    Returns
    -------
    float or ndarray, [Pa]

    Raises
    ------
    ValueError
        If the chain is broken.
    """
    for before, after in pairwise(legs):
        if before.end != after.start:
            raise ValueError(f"chain broken between {before.end!r} and {after.start!r}")
    total: Number = 0.0
    for leg in legs:
        rise = heights_m[leg.end] - heights_m[leg.start]
        total = total + densities_kg_m3[leg.fluid, leg.limb] * rise
    return gravity_m_s2 * total
