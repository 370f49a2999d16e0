"""Local acceleration of free fall from latitude and height."""

from __future__ import annotations

import math

from limbsight.reduce.constants import constants
from limbsight.reduce.elementary import Number, sin


def normal_gravity(latitude_rad: Number, elevation_m: Number = 0.0) -> Number:
    """Normal gravity of the WGS84 ellipsoid.

    Parameters
    ----------
    latitude_rad : float or ndarray, [rad]
        Geodetic latitude.
    elevation_m : float or ndarray, [m]
        Height above the ellipsoid; height above sea level differs by up to 100 m, 3e-5.

    Returns
    -------
    float or ndarray, [m/s2]

    Notes
    -----
    Somigliana's closed form and the second-order term in height, NIMA TR8350.2 (2000),
    eq. 4-1 and 4-3.
    """
    c = constants()["gravity"]
    s = sin(latitude_rad) * sin(latitude_rad)
    surface = (
        c["equator_m_s2"]
        * (1 + c["somigliana_k"] * s)
        / (1 - c["eccentricity_squared"] * s) ** 0.5
    )
    a, f, m = c["semi_major_axis_m"], c["flattening"], c["m"]
    linear = 2 / a * (1 + f + m - 2 * f * s) * elevation_m
    return surface * (1 - linear + 3 * elevation_m * elevation_m / (a * a))


def unknown_gravity() -> tuple[float, float]:
    """Gravity and its standard uncertainty where nothing is known of the place.

    Standard gravity; rectangular from it to the farther of equator and pole.
    """
    c = constants()["gravity"]
    g = float(constants()["convention"]["standard_gravity_m_s2"])
    half_width = max(g - c["lowest_latitude_m_s2"], c["highest_latitude_m_s2"] - g)
    return g, half_width / math.sqrt(3)
