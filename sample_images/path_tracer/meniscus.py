"""Mesh of the surface between two fluids in a round tube.

Upright tubes: the Young-Laplace equation in arc length s, as in
:mod:`sample_images.generator.meniscus`::

    dr/ds = cos psi,  dz/ds = sin psi,  dpsi/ds = 2 b + z / a2 - sin(psi) / r

with ``a2 = sigma / (drho g)`` and the curvature b of the apex found by shooting so that the
surface meets the wall at the contact angle. A tube that leans by ``tilt``: the level plane,
flattened by capillarity to first order in the tilt, is added: ``tan(tilt) p(r) cos(phi)`` with

    p(r) = r - I1(k r) / (d I1(k r) / dr at the wall),  k^2 = cos(tilt) / a2,

I1 being the modified Bessel function. The whole surface is solved for here, not tabulated
over r as there: what is near the wall stands upright and is seen.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from sample_images.path_tracer.colour import Floats
from sample_images.path_tracer.meshes import Mesh, grid_faces, oriented
from sample_images.path_tracer.tubes import AROUND, CentreLine, angles

STEPS = 160
"""Steps of integration to one radius."""
MOST_STEPS = 2000
HALVINGS = 50
RINGS = 49
OUTER_CROWDING = 0.75
"""Rings lie at this power of their order along the arc: closer towards the wall."""
STEEPEST_RAD = 1.54
SERIES_TERMS = 30
SLOPE_STEP_MM = 1e-4


@cache
def profile(
    radius: float, capillary_mm2: float, contact_deg: float
) -> tuple[Floats, Floats, Floats]:
    """Radii and heights [mm] from the apex to the wall, and the angle of the slope [rad].

    Parameters
    ----------
    capillary_mm2 : float, [mm^2]
        Tension over density difference and gravity.
    contact_deg : float, [deg]
        Through the lower fluid; above 90 the surface is convex.
    """
    convex = contact_deg > 90
    at_wall = np.radians(90 - (180 - contact_deg if convex else contact_deg))
    flat, curved = 1e-9, 4.0 / radius
    for _ in range(HALVINGS):
        wide = curved / flat > 4
        apex = np.sqrt(flat * curved) if wide else 0.5 * (flat + curved)
        if _shoot(apex, radius, capillary_mm2, at_wall)[-1, 0] > radius:
            flat = apex
        else:
            curved = apex
    arc = _shoot(curved, radius, capillary_mm2, at_wall)
    way = np.concatenate([[0], np.cumsum(np.hypot(np.diff(arc[:, 0]), np.diff(arc[:, 1])))])
    way /= way[-1]
    at = np.linspace(0, 1, RINGS) ** OUTER_CROWDING
    r, z, psi = (np.interp(at, way, arc[:, k]) for k in range(3))
    r *= radius / r[-1]
    return (r, -z, -psi) if convex else (r, z, psi)


def _shoot(apex: float, radius: float, capillary_mm2: float, at_wall: float) -> Floats:
    """Rows of r, z, psi from the apex until the slope is that at the wall (Runge-Kutta 4)."""

    def change(r: float, z: float, psi: float) -> Floats:
        around = np.sin(psi) / r if r > 1e-9 else apex
        return np.array([np.cos(psi), np.sin(psi), 2 * apex + z / capillary_mm2 - around])

    step = radius / STEPS
    here = np.zeros(3)
    rows = [here]
    for _ in range(MOST_STEPS):
        k1 = change(*here)
        k2 = change(*(here + step / 2 * k1))
        k3 = change(*(here + step / 2 * k2))
        k4 = change(*(here + step * k3))
        there = here + step / 6 * (k1 + 2 * k2 + 2 * k3 + k4)
        if there[2] >= at_wall:
            share = (at_wall - here[2]) / (there[2] - here[2])
            rows.append(here + share * (there - here))
            break
        here = there
        rows.append(here)
        if here[0] > 1.5 * radius:
            break
    return np.array(rows)


def _bessel_i1(x: Floats) -> Floats:
    """Modified Bessel function I1 by its power series."""
    total = x / 2
    term = total
    for k in range(1, SERIES_TERMS):
        term = term * (x * x / 4) / (k * (k + 1))
        total = total + term
    return total


def _lean(
    r: Floats, radius: float, capillary_mm2: float, tilt_rad: float
) -> tuple[Floats, Floats]:
    """p(r) of a leaning tube and its slope (see the head of this module)."""
    k, e = np.sqrt(np.cos(tilt_rad) / capillary_mm2), SLOPE_STEP_MM

    def i1(at: Floats) -> Floats:
        return _bessel_i1(k * at)

    wall = np.asarray(radius)
    at_wall = (i1(wall + e) - i1(wall - e)) / (2 * e)
    spans = np.where(r > e, 2 * e, e)
    slopes = (i1(r + e) - i1(np.maximum(r - e, 0))) / spans
    return r - i1(r) / at_wall, 1 - slopes / at_wall


def surface(
    line: CentreLine,
    s: float,
    upward: int,
    radius: float,
    capillary_mm2: float,
    contact_deg: float,
    tilt_rad: float = 0.0,
) -> tuple[Mesh, Floats]:
    """Surface with its apex at ``s``, and how far its rim is from there along the line.

    ``upward`` is 1 where ``s`` grows upward, -1 where it grows down. ``tilt_rad`` is the
    angle of the tube to the vertical in the plane of the line.
    """
    r, z, psi = profile(radius, capillary_mm2, contact_deg)
    phi = angles()
    heights = np.repeat(z[:, None], AROUND, 1)
    steep = np.tan(np.clip(psi, -STEEPEST_RAD, STEEPEST_RAD))
    outward_slope = np.repeat(steep[:, None], AROUND, 1)
    around_slope = np.zeros_like(heights)
    if tilt_rad:
        lean, lean_slope = _lean(r, radius, capillary_mm2, tilt_rad)
        fall = np.tan(tilt_rad)
        heights = heights + fall * lean[:, None] * np.cos(phi)[None]
        outward_slope = outward_slope + fall * lean_slope[:, None] * np.cos(phi)[None]
        over_r = (lean / np.maximum(r, 1e-6))[:, None]
        around_slope = fall * over_r * -np.sin(phi)[None]
    centre, tangent, normal, outward = line.frame(s)
    axis = tangent * upward
    c, sine = np.cos(phi)[None, :, None], np.sin(phi)[None, :, None]
    radial, around = normal * c + outward * sine, -normal * sine + outward * c
    points = centre + r[:, None, None] * radial + heights[..., None] * axis
    normals = axis - outward_slope[..., None] * radial - around_slope[..., None] * around
    normals[0] = axis
    normals /= np.linalg.norm(normals, axis=-1, keepdims=True)
    v, n = points.reshape(-1, 3), normals.reshape(-1, 3)
    mesh = Mesh.untextured(v, oriented(v, grid_faces(len(r), AROUND, closed=True), n), n)
    return mesh, heights[-1] * upward
