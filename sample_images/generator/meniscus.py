"""Shape of the surface between two fluids in a round tube (Young-Laplace).

Axisymmetric part, arc length s, slope angle psi, height z above the apex [1]_::

    dr/ds = cos psi,  dz/ds = sin psi,
    dpsi/ds = 2 b + (drho g_axial / sigma) z - sin(psi) / r

with apex curvature b found by shooting so that the surface meets the wall at the contact
angle: psi(R) = 90 deg - theta. Tilted tube: gravity across the axis adds f(r) cos(phi),
the first-order perturbation of
div(grad h / sqrt(1 + |grad h|^2)) = (drho/sigma)(g_a h + g_t t),

    (1/r) (r f' / W^3)' - f / (r^2 W) - (drho g_a / sigma) f = (drho g_t / sigma) r,
    f(0) = 0,  f'(R) = 0,  W = sqrt(1 + h0'^2).

References
----------
.. [1] The equation of Young (1805) and Laplace (1806) in the usual arc-length form; from
   memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.integrate import solve_ivp
from scipy.linalg import solve_banded
from scipy.optimize import brentq

from sample_images.generator.fluids import Floats

GRAVITY_M_S2 = 9.81
NODES = 400  # radial nodes of the tables; height error below 1e-4 mm
STEEPEST_DEG = 86.0  # slope at the wall is capped: the tables are functions of r


@dataclass(frozen=True, slots=True, kw_only=True)
class Surface:
    """Interface table, heights in mm above the apex, at radii from 0 to the wall.

    ``height = level_mm + h(r) + f(r) cos(phi)`` where phi is counted from the direction
    ``tilt_xz`` (unit vector across the tube that points downhill of gravity's shadow).
    """

    level_mm: float
    radius_mm: float
    h_mm: Floats
    slope: Floats
    f_mm: Floats
    f_over_r: Floats
    f_slope: Floats
    tilt_xz: tuple[float, float]

    @property
    def lowest_mm(self) -> float:
        return float(self.level_mm + min(self.h_mm.min(), 0.0) - np.abs(self.f_mm).max())

    @property
    def highest_mm(self) -> float:
        return float(self.level_mm + max(self.h_mm.max(), 0.0) + np.abs(self.f_mm).max())

    def _at(self, table: Floats, r: Floats) -> Floats:
        u = np.clip(r * ((NODES - 1) / self.radius_mm), 0.0, NODES - 1.000001)
        i = u.astype(np.int64)
        w = u - i
        return np.asarray(table[i] * (1.0 - w) + table[i + 1] * w)

    def height(self, x: Floats, z: Floats) -> Floats:
        """Height in mm over points x, z (mm from the axis)."""
        r = np.hypot(x, z)
        y = self.level_mm + self._at(self.h_mm, r)
        if self.f_mm.any():
            y = y + self._at(self.f_over_r, r) * (x * self.tilt_xz[0] + z * self.tilt_xz[1])
        return np.asarray(y)

    def normal(self, x: Floats, z: Floats) -> Floats:
        """Unit normals, shape (N, 3), pointing up."""
        r = np.hypot(x, z)
        s = self._at(self.slope, r)
        inv = 1.0 / np.maximum(r, 1e-9)
        gx, gz = s * x * inv, s * z * inv
        if self.f_mm.any():
            # gradient of F(r) t with F = f / r: F e_t + F' t e_r
            big_f = self._at(self.f_over_r, r)
            t = x * self.tilt_xz[0] + z * self.tilt_xz[1]
            df = (self._at(self.f_slope, r) - big_f) * inv
            gx = gx + big_f * self.tilt_xz[0] + df * t * x * inv
            gz = gz + big_f * self.tilt_xz[1] + df * t * z * inv
        n = np.stack([-gx, np.ones_like(gx), -gz], axis=1)
        return np.asarray(n / np.linalg.norm(n, axis=1, keepdims=True))


def _shoot(b: float, stiffness: float, radius: float) -> tuple[Floats, Floats, Floats, float]:
    """Integrate from the apex until r = radius or the surface turns vertical."""

    def rates(_s: float, y: Floats) -> list[float]:
        r, z, psi = y
        curl = b if r < 1e-9 else math.sin(psi) / r
        return [math.cos(psi), math.sin(psi), 2 * b + stiffness * z - curl]

    def wall(_s: float, y: Floats) -> float:
        return float(y[0] - radius)

    def upright(_s: float, y: Floats) -> float:
        return float(abs(y[2]) - math.radians(89.5))

    wall.terminal = True  # type: ignore[attr-defined]
    upright.terminal = True  # type: ignore[attr-defined]
    sol = solve_ivp(
        rates,
        (0.0, 4 * radius),
        [0.0, 0.0, 0.0],
        events=[wall, upright],
        rtol=1e-8,
        atol=1e-10,
        max_step=radius / 40,
    )
    r, z, psi = sol.y
    reached = bool(sol.t_events[0].size)
    return r, z, psi, float(abs(psi[-1]) if reached else math.pi / 2 + radius - r[-1])


def profile(
    radius_mm: float,
    tension_n_m: float,
    contrast_kg_m3: float,
    contact_deg: float,
    axial_gravity: float = 1.0,
) -> tuple[Floats, Floats]:
    """Height and slope of the axisymmetric meniscus at NODES equal steps of radius.

    Parameters
    ----------
    radius_mm : float
        Inner radius of the tube.
    tension_n_m : float
        Interfacial tension.
    contrast_kg_m3 : float
        Density below minus density above.
    contact_deg : float
        Contact angle through the lower liquid; below 90 the meniscus is concave.
    axial_gravity : float
        Part of gravity along the axis, sin(incline).

    Returns
    -------
    h_mm, slope : ndarray, shape (NODES,)
        Height above the apex, and its derivative.
    """
    stiffness = contrast_kg_m3 * GRAVITY_M_S2 * axial_gravity / tension_n_m * 1e-6  # 1/mm2
    target = math.radians(min(abs(90.0 - contact_deg), STEEPEST_DEG))
    grid = np.linspace(0.0, radius_mm, NODES)
    if target < 1e-3:
        return np.zeros(NODES), np.zeros(NODES)

    def miss(b: float) -> float:
        return _shoot(b, stiffness, radius_mm)[3] - target

    b = brentq(miss, 1e-9, 2.0 / radius_mm, xtol=1e-10)
    r, z, psi, _ = _shoot(b, stiffness, radius_mm)
    sign = 1.0 if contact_deg < 90.0 else -1.0
    h = np.interp(grid, r, z)
    slope = np.tan(np.interp(grid, r, psi))
    return sign * h, sign * slope


def tilt_mode(
    radius_mm: float,
    slope: Floats,
    tension_n_m: float,
    contrast_kg_m3: float,
    incline_rad: float,
) -> Floats:
    """Amplitude f(r) of the cos(phi) mode in a tube at an angle above the horizontal."""
    k = contrast_kg_m3 * GRAVITY_M_S2 / tension_n_m * 1e-6
    ka, kt = k * math.sin(incline_rad), k * math.cos(incline_rad)
    r = np.linspace(0.0, radius_mm, NODES)
    step = r[1]
    w = np.sqrt(1.0 + slope**2)
    half_r = r[:-1] + step / 2
    half_w3 = ((w[:-1] + w[1:]) / 2) ** 3
    flux = half_r / half_w3 / step**2
    bands = np.zeros((3, NODES))
    rhs = kt * r
    bands[1, 0], rhs[0] = 1.0, 0.0
    inner = slice(1, NODES - 1)
    bands[2, : NODES - 2] = flux[:-1] / r[inner]
    bands[0, 2:] = flux[1:] / r[inner]
    bands[1, inner] = -(flux[:-1] + flux[1:]) / r[inner] - 1 / (r[inner] ** 2 * w[inner]) - ka
    bands[1, -1], bands[2, -2], rhs[-1] = 1.0, -1.0, 0.0
    return np.asarray(solve_banded((1, 1), bands, rhs))


def surface(
    level_mm: float,
    radius_mm: float,
    tension_n_m: float,
    contrast_kg_m3: float,
    contact_deg: float,
    incline_rad: float = math.pi / 2,
    downhill_xz: tuple[float, float] = (1.0, 0.0),
) -> Surface:
    """Interface of a tube at ``incline_rad`` above the horizontal (upright by default).

    ``downhill_xz`` is the direction across the tube in which gravity points.
    """
    h, slope = profile(
        radius_mm, tension_n_m, contrast_kg_m3, contact_deg, math.sin(incline_rad)
    )
    f = np.zeros(NODES)
    upward = (-downhill_xz[0], -downhill_xz[1])
    if incline_rad < math.pi / 2 - 1e-6:
        f = tilt_mode(radius_mm, slope, tension_n_m, contrast_kg_m3, incline_rad)
    r = np.linspace(0.0, radius_mm, NODES)
    f_slope = np.gradient(f, r)
    f_over_r = np.where(r > 0, f / np.maximum(r, 1e-12), f_slope[0])
    return Surface(
        level_mm=level_mm,
        radius_mm=radius_mm,
        h_mm=h,
        slope=slope,
        f_mm=f,
        f_over_r=f_over_r,
        f_slope=f_slope,
        tilt_xz=upward,
    )
