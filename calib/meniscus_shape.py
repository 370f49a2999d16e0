"""Shape of a meniscus in a round vertical tube: the Young-Laplace equation.

With ``a = sqrt(sigma / (delta rho g))``, height ``u`` above the flat level, slope ``phi``::

    d phi / d l = u / a^2 - sin(phi) / rho,   d rho / d l = cos(phi),   d u / d l = sin(phi)

Source: P. S. de Laplace, *Mecanique celeste*, book X, supplement (1806); F. Bashforth and
J. C. Adams, *An attempt to test the theories of capillary action* (1883).  ``phi`` grows
steadily from the apex to the wall and serves as the running variable.  All lengths are in
units of ``a`` in the table, so one table, built at first use, holds every tube and liquid.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache, lru_cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.special import i0, i1

Array = NDArray[np.float64]

LARGEST_BORE_IN_CAPILLARY_LENGTHS = 8.0
"""Bore radius over ``a`` up to which the table reaches (water: 43 mm bore)."""

_SMALLEST_BORE = 2.0e-3
_SLOPE_STEPS = 240
_APEX_HEIGHTS = 540
_LOWEST_APEX, _HIGHEST_APEX = 1.0e-5, 2.0e3
"""Apex heights of the table, in ``a``. Below, the surface is flatter than 0.3 degrees at any
bore that is taken, and the linearised equation holds to 2e-5 of its height."""
_SURFACE_NODES = 256
_NEWTON_STEPS, _NEWTON_TOLERANCE = 8, 1e-11


@dataclass(frozen=True, slots=True, kw_only=True)
class Surface:
    """A meniscus tabulated over ``w = sqrt(1 - rho / r)``, wall (0) to axis (1), evenly.

    ``w`` makes the height smooth also where the surface meets the wall upright.

    Attributes
    ----------
    bore_radius_m
        ``r``.
    height_m : (K,) array
        Above the apex; negative throughout for a convex meniscus.
    slope_rad : (K,) array
        Angle of the surface outward from the axis, positive where it rises.
    """

    bore_radius_m: float
    height_m: Array
    slope_rad: Array

    def beside(self, aside_m: float) -> Surface:
        """The section parallel to the axis and so far from it, as if it were that of a bore of
        its width; heights stay above the apex, slopes are the surface's own."""
        half = math.sqrt(self.bore_radius_m**2 - aside_m**2)
        along = half * (1.0 - np.linspace(0.0, 1.0, _SURFACE_NODES) ** 2)
        rho = np.hypot(along, aside_m)
        w = np.sqrt(np.maximum(1.0 - rho / self.bore_radius_m, 0.0))
        node = np.linspace(0.0, 1.0, _SURFACE_NODES)
        return Surface(
            bore_radius_m=half,
            height_m=np.interp(w, node, self.height_m),
            slope_rad=np.interp(w, node, self.slope_rad),
        )

    @property
    def wall_height_m(self) -> float:
        """Height of the contact line above the apex."""
        return float(self.height_m[0])


@cache
def _family() -> tuple[Array, CubicSpline]:
    """Slopes (S,) and a spline over log(apex height) giving log rho and rise (2, S)."""
    fraction = np.linspace(0.0, 1.0, _SLOPE_STEPS + 1)
    # Fine near zero: in wide tubes the slope grows exponentially with the radius.
    slopes = 0.5 * math.pi * fraction**3
    apex = np.geomspace(_LOWEST_APEX, _HIGHEST_APEX, _APEX_HEIGHTS)

    def rates(phi: float, rho: Array, rise: Array) -> tuple[Array, Array]:
        curvature = apex + rise - math.sin(phi) / rho
        return math.cos(phi) / curvature, math.sin(phi) / curvature

    rho = 2.0 * slopes[1] / apex
    rise = rho * slopes[1] / 2.0
    log_rho, rises = [np.log(rho)], [rise]
    for phi, after in pairwise(slopes[1:]):
        step = after - phi
        k1 = rates(phi, rho, rise)
        k2 = rates(phi + step / 2, rho + step / 2 * k1[0], rise + step / 2 * k1[1])
        k3 = rates(phi + step / 2, rho + step / 2 * k2[0], rise + step / 2 * k2[1])
        k4 = rates(after, rho + step * k3[0], rise + step * k3[1])
        rho = rho + step / 6 * (k1[0] + 2 * k2[0] + 2 * k3[0] + k4[0])
        rise = rise + step / 6 * (k1[1] + 2 * k2[1] + 2 * k3[1] + k4[1])
        log_rho.append(np.log(rho))
        rises.append(rise)
    table = np.stack([np.array(log_rho), np.array(rises)])
    return slopes[1:], CubicSpline(np.log(apex), table.transpose(2, 0, 1), axis=0)


def meniscus_profile(
    bore_in_a: float, wall_slope_rad: float
) -> tuple[float, Array, Array, Array]:
    """Apex height above the flat level, and the profile, in units of ``a``.

    Parameters
    ----------
    bore_in_a
        Bore radius over capillary length.
    wall_slope_rad
        Slope at the wall, 0 to pi/2.

    Returns
    -------
    tuple
        Apex height; slopes, distances from the axis and heights above the apex, (M,) each,
        from the axis to the wall.

    Raises
    ------
    ValueError
        Bore or slope outside the table.
    """
    if not _SMALLEST_BORE <= bore_in_a <= LARGEST_BORE_IN_CAPILLARY_LENGTHS:
        raise ValueError(
            f"bore radius is {bore_in_a:.3g} capillary lengths; the meniscus is tabulated "
            f"from 0.002 to {LARGEST_BORE_IN_CAPILLARY_LENGTHS:g}"
        )
    if not 0.0 <= wall_slope_rad <= 0.5 * math.pi:
        raise ValueError(
            f"slope at the wall is {wall_slope_rad:.3g} rad; it lies in 0 to pi/2"
        )
    if wall_slope_rad <= _LOWEST_APEX * float(i1(bore_in_a)):
        return _flat_profile(bore_in_a, wall_slope_rad)
    slopes, spline = _family()
    wall_slope = max(wall_slope_rad, 2.0 * float(slopes[0]))
    log_apex = _log_apex_height(bore_in_a, wall_slope)
    log_rho, rise = _between_apexes(spline, log_apex)
    inside = slopes < wall_slope
    at_wall = _at_slope(slopes, log_rho, rise, wall_slope)
    phi = np.concatenate([[0.0], slopes[inside], [wall_slope]])
    rho = np.concatenate([[0.0], np.exp(log_rho[inside]), [bore_in_a]])
    height = np.concatenate([[0.0], rise[inside], [at_wall[1]]])
    return math.exp(log_apex), phi, rho, height


def _flat_profile(bore_in_a: float, wall_slope: float) -> tuple[float, Array, Array, Array]:
    """Profile of a nearly flat surface: ``u'' + u'/rho = u``, so ``u = u0 I0(rho)``.

    For small slopes the Young-Laplace equation is the modified Bessel equation of order 0
    (M. Abramowitz and I. A. Stegun, Handbook of Mathematical Functions, 9.6.1).
    """
    rho = np.linspace(0.0, bore_in_a, _SLOPE_STEPS + 1)
    apex = wall_slope / float(i1(bore_in_a))
    return apex, apex * np.asarray(i1(rho)), rho, apex * (np.asarray(i0(rho)) - 1.0)


def _at_slope(slopes: Array, log_rho: Array, rise: Array, slope: float) -> tuple[float, float]:
    """Cubic through the four nodes around ``slope`` (in the even variable)."""
    near, weights = _nodes_around(slopes, slope)
    return float(weights @ log_rho[near]), float(weights @ rise[near])


def _nodes_around(slopes: Array, slope: float) -> tuple[slice, Array]:
    """Four nodes around ``slope``, and their weights in the cubic through them."""
    target = slope ** (1.0 / 3.0)
    first = min(max(int(np.searchsorted(slopes, slope)) - 2, 0), len(slopes) - 4)
    nodes = [float(value) ** (1.0 / 3.0) for value in slopes[first : first + 4]]
    weights = [
        math.prod((target - other) / (node - other) for other in nodes if other != node)
        for node in nodes
    ]
    return slice(first, first + 4), np.array(weights)


def _between_apexes(spline: CubicSpline, log_apex: float) -> Array:
    """The spline at one point: (2, S)."""
    piece = _piece(spline, log_apex)
    c = spline.c[:, piece]
    d = log_apex - spline.x[piece]
    return np.asarray(((c[0] * d + c[1]) * d + c[2]) * d + c[3])


def _log_apex_height(bore_in_a: float, wall_slope: float) -> float:
    slopes, spline = _family()
    near, weights = _nodes_around(slopes, wall_slope)
    node = min(near.start + 2, len(slopes) - 1)
    grid = spline.x
    # Distance falls steadily with apex height: interpolate, then polish by Newton's rule.
    wanted = math.log(bore_in_a)
    distances = spline.c[3, :, 0, node]
    log_apex = float(np.interp(-wanted, -distances, grid[:-1]))
    for _ in range(_NEWTON_STEPS):
        piece = _piece(spline, log_apex)
        # At one slope the spline over the apex heights is a cubic of its own.
        c3, c2, c1, c0 = (spline.c[:, piece, 0, near] @ weights).tolist()
        d = log_apex - float(grid[piece])
        miss = ((c3 * d + c2) * d + c1) * d + c0 - wanted
        if abs(miss) < _NEWTON_TOLERANCE:
            break
        log_apex -= miss / ((3.0 * c3 * d + 2.0 * c2) * d + c1)
    return log_apex


def _piece(spline: CubicSpline, log_apex: float) -> int:
    last = int(spline.c.shape[1]) - 1
    return min(max(int(np.searchsorted(spline.x, log_apex)) - 1, 0), last)


@lru_cache(maxsize=128)
def meniscus_surface(
    bore_radius_m: float, capillary_length_m: float, contact_angle_rad: float
) -> Surface:
    """Meniscus of given bore, capillary length and contact angle (through the lower fluid).

    Below 90 degrees concave (apex lowest), above convex (apex highest).  A bore beyond the
    table is shown with the capillary length at its end: there the middle is flat anyway.

    Raises
    ------
    ValueError
        An angle outside 0 to pi, a bore or length not positive.
    """
    if not 0.0 <= contact_angle_rad <= math.pi:
        raise ValueError(f"contact angle is {contact_angle_rad:.3g} rad; it lies in 0 to pi")
    if not (bore_radius_m > 0.0 and capillary_length_m > 0.0):
        raise ValueError(
            f"bore radius {bore_radius_m:.3g} m and capillary length "
            f"{capillary_length_m:.3g} m must be positive"
        )
    bore_in_a = bore_radius_m / capillary_length_m
    bore_in_a = min(max(bore_in_a, _SMALLEST_BORE), LARGEST_BORE_IN_CAPILLARY_LENGTHS)
    capillary_length_m = bore_radius_m / bore_in_a
    wall_slope = 0.5 * math.pi - contact_angle_rad
    _, phi, rho, height = meniscus_profile(bore_in_a, abs(wall_slope))
    sign = math.copysign(1.0, wall_slope)
    node = np.linspace(0.0, 1.0, _SURFACE_NODES)
    w = np.sqrt(np.maximum(1.0 - rho / rho[-1], 0.0))[::-1]
    return Surface(
        bore_radius_m=bore_radius_m,
        height_m=sign * capillary_length_m * np.interp(node, w, height[::-1]),
        slope_rad=sign * np.interp(node, w, phi[::-1]),
    )
