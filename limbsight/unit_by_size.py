"""The unit of a scale that prints none, from the sizes that things have.

Tubes, printed figures and the distance people photograph from are of usual sizes. In scale
units they are seen; each unit makes other lengths of them, and those of the right one are the
least unusual. Sizes are taken for lognormal, independent of each other.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from limbsight.calib.unknown_scale import LENGTH_UNITS_M

SURE_UNIT = 0.95
MOST_UNUSUAL = 3.0
"""Standard deviations: a size farther off speaks against every unit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class UsualSize:
    """Middle of a kind of size [m] and the standard deviation of its logarithm."""

    middle_m: float
    spread: float


TUBE = UsualSize(middle_m=9e-3, spread=0.34)
"""Outside diameters of 4.5 mm to 16 mm (common practice, no source) as two standard
deviations, and a tenth for what the width found in the picture may be off."""
FIGURE = UsualSize(middle_m=3e-3, spread=0.35)
"""Figures of 1.5 mm to 6 mm (common practice, no source)."""
DISTANCE = UsualSize(middle_m=0.45, spread=0.6)
"""0.14 m, nearer than which phones hardly focus, to 1.5 m (judgement, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenSizes:
    """Sizes in scale units.

    Attributes
    ----------
    tube
        Outside diameter, or None.
    figure
        Height of the printed figures, or None.
    distance
        Of the camera from the scale.
    u_distance
        Its relative standard uncertainty.
    """

    tube: float | None
    figure: float | None
    distance: float
    u_distance: float


def units_by_size(sizes: SeenSizes) -> tuple[str, ...]:
    """Return the units that the sizes leave open, the likeliest first."""
    odds = {
        u: np.sum(_strangeness(sizes, metres) ** 2) for u, metres in LENGTH_UNITS_M.items()
    }
    least = min(odds.values())
    unlikely = -2.0 * np.log(1.0 - SURE_UNIT)
    likeliest = sorted(odds, key=lambda unit: float(odds[unit]))
    return tuple(unit for unit in likeliest if odds[unit] - least <= unlikely)


def unit_by_size(sizes: SeenSizes) -> str | None:
    """Return the unit that makes the sizes usual, or None where two do, or none."""
    odds = {unit: _strangeness(sizes, metres) for unit, metres in LENGTH_UNITS_M.items()}
    unit = min(odds, key=lambda unit: float(np.sum(odds[unit] ** 2)))
    weights = {u: float(np.exp(-0.5 * np.sum(z**2))) for u, z in odds.items()}
    usual = float(np.abs(odds[unit]).max()) <= MOST_UNUSUAL
    return unit if usual and weights[unit] >= SURE_UNIT * sum(weights.values()) else None


def _strangeness(
    sizes: SeenSizes, unit_m: float
) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Standard deviations by which each size is off the usual one."""
    seen = [(sizes.distance, DISTANCE.middle_m, np.hypot(DISTANCE.spread, sizes.u_distance))]
    if sizes.tube is not None:
        seen.append((sizes.tube, TUBE.middle_m, TUBE.spread))
    if sizes.figure is not None:
        seen.append((sizes.figure, FIGURE.middle_m, FIGURE.spread))
    return np.array([np.log(size * unit_m / middle) / spread for size, middle, spread in seen])
