"""Shape of a meniscus in a round tube: how far its apex stands off the flat level.

Axisymmetric Young-Laplace equation, lengths in capillary lengths a = sqrt(sigma / (drho g)),
z upward from the flat level, phi the slope of the surface:
``dr/dphi = cos(phi) / kappa``, ``dz/dphi = sin(phi) / kappa``, ``kappa = z - sin(phi) / r``,
from the apex (r = 0, kappa = z0 / 2) to the wall, where phi = 90 deg - contact angle.
A liquid that does not wet (contact angle over 90 deg) is the same surface upside down.
Laplace, Traité de mécanique céleste, supplement to book X (1806); Bashforth and Adams (1883).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import brentq
from scipy.special import i1

RELATIVE_TOLERANCE = 1e-10
"""Of the integration: its error stays below 1e-8 capillary lengths in the tests."""
FIRST_SLOPE = 1e-6
"""Slope [rad] at which the series about the apex hands over; its error is slope cubed."""
FIRST_RADIUS = 1e-4
"""Radius [capillary lengths] that the series about the apex must not pass; in a wide tube
the slope is still tiny where it no longer holds. Its error is an eighth of radius squared."""
WIDEST = 20.0
"""Radius in capillary lengths beyond which the apex is flat to 1e-8 and zero is returned."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Meniscus:
    """A meniscus: apex above the flat level (negative: depressed), and its own height [m]."""

    rise_m: float
    height_m: float
    rise_by_tension: float
    """Derivative of the rise to the surface tension [m per N/m]."""
    rise_by_angle: float
    """Derivative of the rise to the contact angle [m/rad]."""
    rise_by_radius: float
    """Derivative of the rise to the tube's radius."""


def capillary_length_m(
    surface_tension_n_m: float, density_difference_kg_m3: float, gravity_m_s2: float
) -> float:
    """Return a = sqrt(sigma / (drho g)) [m]."""
    return math.sqrt(surface_tension_n_m / (density_difference_kg_m3 * gravity_m_s2))


@lru_cache(maxsize=256)
def meniscus(
    radius_m: float,
    contact_angle_rad: float,
    surface_tension_n_m: float,
    density_difference_kg_m3: float,
    gravity_m_s2: float,
) -> Meniscus:
    """Solve the meniscus in a vertical round tube.

    Parameters
    ----------
    radius_m : float, [m]
        Inner radius, half the bore.
    contact_angle_rad : float, [rad]
        Through the lower fluid, 0 to pi.
    surface_tension_n_m, density_difference_kg_m3, gravity_m_s2 : float
        Of the surface, of lower minus upper fluid, of the place.

    Returns
    -------
    Meniscus
    """
    a = capillary_length_m(surface_tension_n_m, density_difference_kg_m3, gravity_m_s2)
    slope = math.pi / 2 - contact_angle_rad
    sign = 1.0 if slope >= 0 else -1.0
    x = radius_m / a
    if abs(slope) < FIRST_SLOPE or x > WIDEST:
        height = a * math.copysign(2 * math.sin(abs(slope) / 2), slope)
        # A flat surface that begins to curve is I0 of the radius, sloped I1 at the wall.
        by_angle = 0.0 if x > WIDEST else -a / float(i1(x))
        return Meniscus(
            rise_m=0.0, height_m=height, rise_by_tension=0.0, rise_by_angle=by_angle,
            rise_by_radius=0.0,
        )  # fmt: skip
    z0 = _apex(x, abs(slope))
    r, z = surface_at(z0, abs(slope))
    step = 1e-4 * z0
    # implicit function: the wall stays at x while apex, radius or slope change
    dr_dz0 = (surface_at(z0 + step, abs(slope))[0] - surface_at(z0 - step, abs(slope))[0]) / (
        2 * step
    )
    dr_dslope = math.cos(slope) / (z - math.sin(abs(slope)) / r)
    dz0_dx, dz0_dslope = 1 / dr_dz0, -dr_dslope / dr_dz0
    da_dsigma = a / (2 * surface_tension_n_m)
    return Meniscus(
        rise_m=sign * a * z0,
        height_m=sign * a * (z - z0),
        rise_by_tension=sign * (z0 - x * dz0_dx) * da_dsigma,
        # slope falls as the angle grows; below 90 deg slope counts the other way round
        rise_by_angle=-a * dz0_dslope,
        rise_by_radius=sign * dz0_dx,
    )


def contact_angle_from_height(
    radius_m: float,
    meniscus_height_m: float,
    surface_tension_n_m: float,
    density_difference_kg_m3: float,
    gravity_m_s2: float,
) -> float:
    """Contact angle [rad] of a meniscus whose height was measured.

    Parameters
    ----------
    meniscus_height_m : float, [m]
        Rim over apex: positive for a concave meniscus, negative for a convex one.

    Raises
    ------
    ValueError
        If no angle between 0 and 180 deg gives that height in such a tube.
    """

    def excess(angle: float) -> float:
        found = meniscus(
            radius_m, angle, surface_tension_n_m, density_difference_kg_m3, gravity_m_s2
        )
        return found.height_m - meniscus_height_m

    if not excess(math.pi) <= 0 <= excess(0.0):
        raise ValueError(
            f"a meniscus height of {meniscus_height_m * 1e3:.3g} mm is not possible in a bore "
            f"of {2e3 * radius_m:.3g} mm with {surface_tension_n_m:.3g} N/m"
        )
    return float(brentq(excess, 0.0, math.pi, xtol=1e-10))


def surface_at(z0: float, slope: float) -> tuple[float, float]:
    """Radius and height where the surface has reached a slope.

    Parameters
    ----------
    z0 : float
        Height of the apex over the flat level, in capillary lengths.
    slope : float, [rad]
        Up to pi: past a right angle it is a drop, not a meniscus.

    Returns
    -------
    tuple of float
        In capillary lengths.
    """
    curvature = z0 / 2
    start = min(FIRST_SLOPE, slope / 10, FIRST_RADIUS * curvature)

    def step(phi: float, y: np.ndarray) -> list[float]:
        kappa = y[1] - math.sin(phi) / y[0]
        return [math.cos(phi) / kappa, math.sin(phi) / kappa]

    r_start = start / curvature
    solution = solve_ivp(
        step,
        (start, slope),
        [r_start, z0 + start * r_start / 2],
        method="LSODA",
        rtol=RELATIVE_TOLERANCE,
        atol=1e-13,
    )
    return float(solution.y[0, -1]), float(solution.y[1, -1])


def _apex(x: float, slope: float) -> float:
    """Apex height, in capillary lengths, of the surface that meets a wall at ``x``."""
    # in a narrow tube z0 = 2 sin(slope) / x; everywhere below that, and above its decay
    # through a wide tube, which is slower than exp(-x)
    high = math.log(2 * math.sin(slope) / x)
    low = high - x - 1.0

    def excess(log_z0: float) -> float:
        return surface_at(math.exp(log_z0), slope)[0] - x

    return math.exp(float(brentq(excess, low, high, xtol=1e-12, rtol=1e-12)))
