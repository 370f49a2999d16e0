"""Shape of the meniscus against published and independently computed values."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.special import i0, i1

from limbsight.calib.meniscus_shape import meniscus_profile, meniscus_surface

# Bore radius, apex height and meniscus height over the capillary length, contact angle 0:
# Young-Laplace integrated by shooting and by collocation, agreeing to 1e-10.
WETTING = [
    (0.1, 19.96673083, 0.09977010),
    (0.5, 3.84076835, 0.47421159),
    (1.0, 1.71607271, 0.83950146),
    (2.0, 0.58713970, 1.2569168),
    (3.0, 0.23228050, 1.4327354),
    (5.0, 0.03755388, 1.5129061),
    (8.0, 2.291314e-3, 1.4932753),
]


@pytest.mark.parametrize(("bore", "apex", "height"), WETTING)
def test_wetting_meniscus(bore, apex, height):
    found, _, _, profile = meniscus_profile(bore, 0.5 * math.pi)
    assert found == pytest.approx(apex, rel=2e-6)
    assert profile[-1] == pytest.approx(height, rel=1e-6)


@pytest.mark.parametrize(
    ("bore", "angle", "apex", "wall"),
    [
        (1, 30, 1.50435519, 2.02848538),
        (2, 40, 0.46608114, 1.17165343),
        (5, 45, 0.02796196, 0.8517371),
    ],
)
def test_partly_wetting_meniscus(bore, angle, apex, wall):
    found, _, _, profile = meniscus_profile(bore, math.radians(90 - angle))
    assert found == pytest.approx(apex, rel=1e-6)
    assert found + profile[-1] == pytest.approx(wall, rel=1e-6)


@pytest.mark.parametrize(
    ("bore_in", "depression_in"),
    [
        (0.6, 0.001),
        (0.5, 0.008),
        (0.4, 0.017),
        (0.35, 0.024),
        (0.3, 0.033),
        (0.25, 0.044),
        (0.2, 0.061),
        (0.15, 0.088),
        (0.1, 0.140),
    ],
)
def test_mercury_depression_of_young_1805(bore_in, depression_in):
    """T. Young, Phil. Trans. 95 (1805) 82, column by formula; sigma/(rho g) = 0.005 in^2,
    contact angle 140 degrees.  Tolerance 0.004 in: his series is an approximation."""
    a = math.sqrt(0.005)
    apex, *_ = meniscus_profile(0.5 * bore_in / a, math.radians(50))
    assert a * apex == pytest.approx(depression_in, abs=0.004)


def test_narrow_tube_follows_rayleigh():
    """Rayleigh, Proc. R. Soc. A 92 (1915) 184: 2a^2 = r(h + r/3 - 0.1288 r^2/h + 0.1312
    r^3/h^2), contact angle 0."""
    r = 0.5
    h, *_ = meniscus_profile(r, 0.5 * math.pi)
    assert r * (h + r / 3 - 0.1288 * r**2 / h + 0.1312 * r**3 / h**2) == pytest.approx(
        2.0, abs=2e-4
    )


@given(
    bore=st.floats(0.01, 7.9),
    angle=st.floats(0.0, math.pi),
)
@example(bore=7.0, angle=1.5625)
@example(bore=7.9, angle=1.571)
@settings(max_examples=60, deadline=None)
def test_surface_rises_or_falls_to_the_wall_with_the_wall_slope(bore, angle):
    surface = meniscus_surface(bore * 2e-3, 2e-3, angle)
    rise = surface.height_m[::-1]
    assert rise[0] == 0.0
    assert surface.slope_rad[0] == pytest.approx(0.5 * math.pi - angle, abs=1e-6)
    steps = np.diff(rise)
    assert (steps >= -1e-12).all() if angle < 0.5 * math.pi else (steps <= 1e-12).all()


@pytest.mark.parametrize("bore", [0.5, 2.5, 4.0, 6.0, 7.9])
@pytest.mark.parametrize("slope_deg", [0.001, 0.05, 0.3, 1.0, 2.8])
def test_nearly_flat_surfaces_meet_the_modified_bessel_function(bore, slope_deg):
    """Small slopes: u = u0 I0(rho) (Abramowitz and Stegun, 9.6.1).

    What the linear equation leaves out is of the order of the slope squared (0.24 % at 2.8
    degrees); 1e-7 capillary lengths is 0.3 nm.
    """
    slope = math.radians(slope_deg)
    apex, _, _, height = meniscus_profile(bore, slope)
    u0 = slope / i1(bore)
    rel = 1e-3 + 2 * slope**2
    assert apex == pytest.approx(u0, rel=rel)
    assert height[-1] == pytest.approx(u0 * (i0(bore) - 1.0), rel=rel, abs=1e-7)


@given(bore=st.floats(0.05, 5.0), angle=st.floats(0.0, 1.5))
@settings(max_examples=30, deadline=None)
def test_weight_of_the_raised_liquid_balances_the_wall_force(bore, angle):
    """The vertical pull of the surface on the wall, 2 pi R sigma cos(theta), lifts the
    liquid under it: in units of a, R sin(psi) = integral of u rho d rho."""
    apex, slope, rho, height = meniscus_profile(bore, 0.5 * math.pi - angle)
    lifted = np.trapezoid((apex + height) * rho, rho)
    assert lifted == pytest.approx(bore * math.sin(slope[-1]), rel=3e-4, abs=1e-9)


def test_concave_and_convex_mirror_each_other():
    up = meniscus_surface(3e-3, 2e-3, math.radians(40))
    down = meniscus_surface(3e-3, 2e-3, math.radians(140))
    np.testing.assert_allclose(up.height_m, -down.height_m, atol=1e-12)


@given(bore=st.floats(0.5, 10.0), angle=st.floats(0.0, 180.0), aside=st.floats(0.05, 0.9))
@settings(max_examples=40, deadline=None)
def test_section_beside_the_axis_is_cut_from_the_same_surface(bore, angle, aside):
    surface = meniscus_surface(1e-3 * bore, 2.7e-3, math.radians(angle))
    section = surface.beside(aside * surface.bore_radius_m)
    assert section.wall_height_m == pytest.approx(surface.wall_height_m)
    assert section.bore_radius_m == pytest.approx(
        surface.bore_radius_m * (1 - aside**2) ** 0.5
    )
    node = np.linspace(0.0, 1.0, len(surface.height_m))
    middle = np.interp(math.sqrt(1.0 - aside), node, surface.height_m)
    assert section.height_m[-1] == pytest.approx(middle)


def test_wider_tube_than_tabulated_keeps_its_bore():
    surface = meniscus_surface(0.05, 2e-3, 0.2)
    assert surface.bore_radius_m == 0.05
    assert surface.wall_height_m > 0.0


@pytest.mark.parametrize("bad", [(0.0, 2e-3, 0.1), (1e-3, -1.0, 0.1), (1e-3, 2e-3, 4.0)])
def test_impossible_input_is_named(bad):
    with pytest.raises(ValueError, match=r"must be positive|contact angle"):
        meniscus_surface(*bad)
