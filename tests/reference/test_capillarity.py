"""The meniscus against tables, series and an experiment of 1776."""

from __future__ import annotations

import math

import pytest

from limbsight.reduce.capillarity import contact_angle_from_height, meniscus, surface_at

INCH = 25.4e-3
CAPILLARY_LENGTH_M = 2.725866e-3
"""Of the table of water: 72.736 mN/m, 998.2067 kg/m3, 9.80665 m/s2."""

UNIT_SOLUTIONS = [
    (0.1, 19.96673083, 0.09977010),
    (0.5, 3.84076835, 0.47421159),
    (1.0, 1.71607271, 0.83950146),
    (2.0, 0.58713970, 1.2569168),
    (3.0, 0.23228050, 1.4327354),
    (5.0, 0.03755388, 1.5129061),
    (8.0, 2.291314e-3, 1.4932753),
]
"""Radius, apex and meniscus height in capillary lengths, contact angle 0: shooting and
collocation (scipy) agree to 1e-10."""

PARTIAL_ANGLES = [
    (1.0, 30.0, 1.50435519, 2.02848538),
    (2.0, 40.0, 0.46608114, 1.17165343),
    (5.0, 45.0, 0.02796196, 0.85173710),
]


def unit_meniscus(radius: float, angle_deg: float = 0.0):
    """In units of the capillary length: sigma = drho = g = 1."""
    return meniscus(radius, math.radians(angle_deg), 1.0, 1.0, 1.0)


def test_unit_solutions(agrees):
    rows = []
    for radius, apex, height in UNIT_SOLUTIONS:
        found = unit_meniscus(radius)
        rows.append((f"{radius} apex", 0.0, found.rise_m / apex - 1))
        rows.append((f"{radius} height", 0.0, found.height_m / height - 1))
    for radius, angle, apex, wall in PARTIAL_ANGLES:
        found = unit_meniscus(radius, angle)
        rows.append((f"{radius}, {angle} deg apex", 0.0, found.rise_m / apex - 1))
        rows.append(
            (f"{radius}, {angle} wall", 0.0, (found.rise_m + found.height_m) / wall - 1)
        )
    agrees(
        "Young-Laplace, unit solutions",
        basis="computed",
        source="shooting and collocation with scipy 1.17.1",
        unit="relative",
        rows=rows,
        tolerance=1e-6,
    )


def test_water_rise(agrees, table):
    agrees(
        "rise of water, bore 0.5 to 30 mm",
        basis="computed",
        source="Young-Laplace with scipy, two methods",
        unit="mm",
        rows=[
            (
                f"{r['bore_mm']} mm",
                r["rise_exact_mm"],
                1e3
                * meniscus(r["bore_mm"] / 2e3, 0.0, CAPILLARY_LENGTH_M**2, 1.0, 1.0).rise_m,
            )
            for r in table("water_capillary_rise_20C.csv")
        ],
        tolerance=2e-5,
    )


def test_mercury_depression_by_meniscus_height(agrees, table):
    rows = []
    for r in table("mercury_capillary_depression_young_laplace.csv")[::29]:
        args = (r["bore_mm"] / 2e3, r["sigma_N_m"], 13545.85, 9.80665)
        if r["contact_angle_deg"] == 180:
            continue
        angle = contact_angle_from_height(args[0], -r["meniscus_height_mm"] / 1e3, *args[1:])
        depression = -meniscus(args[0], angle, *args[1:]).rise_m
        label = f"{r['bore_mm']} mm, {r['meniscus_height_mm']} mm, {r['sigma_N_m']} N/m"
        rows.append((label, r["depression_mm"], 1e3 * depression))
    agrees(
        "depression of mercury by meniscus height",
        basis="computed",
        source="Young-Laplace with scipy",
        unit="mm",
        rows=rows,
        tolerance=1e-4,
    )


def test_cavendish_and_young(agrees, table):
    """Young's constants: sigma / (rho g) = 0.005 square inches, contact angle 140 deg."""
    rows = []
    for r in table("mercury_depression_cavendish_young_1805_inches.csv"):
        found = meniscus(r["bore_in"] * INCH / 2, math.radians(140), 0.005 * INCH**2, 1.0, 1.0)
        rows.append((f"{r['bore_in']} in", r["central_formula"], -found.rise_m / INCH))
    agrees(
        "depression of mercury, Young's formula column",
        basis="published",
        source="Young, Phil. Trans. 95 (1805) 82",
        unit="inch",
        rows=rows,
        tolerance=0.004,
    )


def test_cavendish_observed(agrees, table):
    rows = []
    for r in table("mercury_depression_cavendish_young_1805_inches.csv"):
        if r["bore_in"] >= 0.35:
            found = meniscus(
                r["bore_in"] * INCH / 2, math.radians(140), 0.005 * INCH**2, 1.0, 1.0
            )
            rows.append((f"{r['bore_in']} in", r["central_obs"], -found.rise_m / INCH))
    agrees(
        "depression of mercury, observed, bores of 0.35 in and more",
        basis="published",
        source="Lord C. Cavendish 1776, printed in Phil. Trans. 95 (1805) 82",
        unit="inch",
        rows=rows,
        tolerance=0.004,
    )


def test_narrow_tube_series(agrees):
    """2 a^2 = r (h + r/3 - 0.1288 r^2/h + 0.1312 r^3/h^2), Rayleigh, from memory.

    Coefficients from memory: two independent solutions of the equation confirm them.
    """
    rows = []
    for r in (0.05, 0.1, 0.2, 0.3):
        h = unit_meniscus(r).rise_m
        series = r * (h + r / 3 - 0.1288 * r * r / h + 0.1312 * r**3 / h**2)
        rows.append((f"r = {r} a", 2.0, series))
    agrees(
        "narrow-tube series",
        basis="closed form",
        source="Rayleigh, Proc. R. Soc. A 92 (1915) 184, confirmed by the unit solutions",
        unit="2 a^2",
        rows=rows,
        tolerance=5e-5,
    )


def test_wide_tube_asymptote(agrees):
    """R - ln(1/u0) - ln(R)/2 tends to ln 4 - 2 + sqrt 2 - ln(1 + sqrt 2) + ln(2 pi)/2."""
    constant = (
        math.log(4)
        - 2
        + math.sqrt(2)
        - math.log(1 + math.sqrt(2))
        + 0.5 * math.log(2 * math.pi)
    )
    radii = (8.0, 12.0, 16.0, 19.5)
    gaps = [
        r - math.log(1 / unit_meniscus(r).rise_m) - 0.5 * math.log(r) - constant for r in radii
    ]
    # what is left falls as k / R with one k
    rows = [(f"R = {r} a", 0.33, gap * r) for r, gap in zip(radii, gaps, strict=True)]
    agrees(
        "wide-tube asymptote, coefficient of a/R",
        basis="closed form",
        source="asymptotic matching; constant 0.8381 as in Rayleigh 1915",
        unit="1",
        rows=rows,
        tolerance=0.02,
    )


def test_weight_of_the_raised_liquid(agrees):
    """Vertical balance: 2 pi R sigma cos(theta) carries the liquid above the flat level."""
    import numpy as np
    from scipy.integrate import solve_ivp

    rows = []
    for radius, angle in ((0.5, 20.0), (1.5, 50.0), (4.0, 10.0)):
        found = unit_meniscus(radius, angle)
        slope = math.pi / 2 - math.radians(angle)
        start = 1e-4
        z0 = found.rise_m

        def step(phi, y):
            kappa = y[1] - math.sin(phi) / y[0]
            dr = math.cos(phi) / kappa
            return [dr, math.sin(phi) / kappa, 2 * math.pi * y[0] * y[1] * dr]

        r0 = 2 * start / z0
        first = [r0, z0 + r0 * start / 2, math.pi * r0 * r0 * z0]
        end = solve_ivp(step, (start, slope), first, rtol=1e-10, atol=1e-12).y[:, -1]
        carried = 2 * math.pi * radius * math.cos(math.radians(angle))
        rows.append((f"R = {radius} a, {angle} deg", 0.0, float(end[2]) / carried - 1))
        assert np.isclose(end[0], radius, rtol=1e-6)
    agrees(
        "weight of the raised liquid",
        basis="closed form",
        source="vertical balance of forces",
        unit="relative",
        rows=rows,
        tolerance=1e-5,
    )


def test_impossible_meniscus_height():
    with pytest.raises(ValueError, match="not possible in a bore of 6 mm"):
        contact_angle_from_height(0.003, -0.01, 0.45, 13545.85, 9.80665)


def test_sessile_drops(agrees, table):
    """The same surface, past a right angle: beta = 4 / z0^2 in units of the apex radius."""
    rows = []
    for r in table("bashforth_adams_sessile.csv"):
        if r["beta"] == 0:
            continue
        z0 = 2 / math.sqrt(r["beta"])
        apex_radius = 2 / z0
        x, z = surface_at(z0, math.radians(r["phi_deg"]))
        label = f"beta {r['beta']:g}, {r['phi_deg']:g} deg"
        rows.append((f"x, {label}", r["x_over_b"], x / apex_radius))
        rows.append((f"z, {label}", r["z_over_b"], (z - z0) / apex_radius))
    agrees(
        "sessile drops",
        basis="computed",
        source="equation of Bashforth and Adams (1883) with scipy DOP853",
        unit="apex radius",
        rows=rows,
        tolerance=1e-7,
    )
