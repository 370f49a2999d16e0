"""What holds of every meniscus; tables and series are in tests/reference."""

from __future__ import annotations

import math
from dataclasses import astuple

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import i0, i1

from limbsight.reduce.capillarity import (
    WIDEST,
    capillary_length_m,
    contact_angle_from_height,
    meniscus,
    surface_at,
)

WATER = (0.0727, 997.0, 9.81)
MERCURY = (0.45, 13545.0, 9.81)
RADIUS_M = st.floats(0.3e-3, 12e-3)
ANGLE = st.floats(0.02, math.pi - 0.02).filter(lambda angle: abs(angle - math.pi / 2) > 0.02)


def test_capillary_length():
    assert capillary_length_m(*WATER) == pytest.approx(math.sqrt(0.0727 / (997.0 * 9.81)))


@settings(max_examples=8, deadline=None)
@given(RADIUS_M, ANGLE)
def test_what_does_not_wet_is_the_same_upside_down(radius, angle):
    one, other = meniscus(radius, angle, *WATER), meniscus(radius, math.pi - angle, *WATER)
    assert other.rise_m == pytest.approx(-one.rise_m, rel=1e-6)
    assert other.height_m == pytest.approx(-one.height_m, rel=1e-6)
    assert other.rise_by_angle == pytest.approx(one.rise_by_angle, rel=1e-4)
    assert other.rise_by_tension == pytest.approx(-one.rise_by_tension, rel=1e-4)
    assert other.rise_by_radius == pytest.approx(-one.rise_by_radius, rel=1e-4)


@settings(max_examples=8, deadline=None)
@given(RADIUS_M, ANGLE, st.floats(0.2, 5.0))
def test_only_the_capillary_length_sets_the_size(radius, angle, scale):
    """Tension and radius squared alike: all lengths grow as the radius."""
    tension, difference, g = WATER
    small = meniscus(radius, angle, *WATER)
    large = meniscus(scale * radius, angle, scale**2 * tension, difference, g)
    assert large.rise_m == pytest.approx(scale * small.rise_m, rel=1e-5)
    assert large.height_m == pytest.approx(scale * small.height_m, rel=1e-5)


@settings(max_examples=8, deadline=None)
@given(st.sampled_from([WATER, MERCURY]), RADIUS_M, ANGLE)
def test_derivatives_against_differences(liquid, radius, angle):
    tension, difference, g = liquid
    found = meniscus(radius, angle, *liquid)

    def slope(at, h):
        return (at(h).rise_m - at(-h).rise_m) / (2 * h)

    by_angle = slope(lambda h: meniscus(radius, angle + h, *liquid), 1e-4)
    by_radius = slope(lambda h: meniscus(radius + h, angle, *liquid), 1e-4 * radius)
    by_tension = slope(
        lambda h: meniscus(radius, angle, tension + h, difference, g), 1e-4 * tension
    )
    # 1e-8 of a rise in differences over 1e-4 of its cause
    assert found.rise_by_angle == pytest.approx(by_angle, rel=2e-3, abs=1e-7)
    assert found.rise_by_radius == pytest.approx(by_radius, rel=2e-3)
    assert found.rise_by_tension == pytest.approx(by_tension, rel=2e-3)


@settings(max_examples=8, deadline=None)
@given(st.sampled_from([WATER, MERCURY]), RADIUS_M, ANGLE)
def test_angle_comes_back_from_the_height(liquid, radius, angle):
    height = meniscus(radius, angle, *liquid).height_m
    assert contact_angle_from_height(radius, height, *liquid) == pytest.approx(angle, abs=1e-6)


def test_jurin_in_a_narrow_tube():
    """h + r/3 = 2 sigma / (drho g r) for complete wetting, to a ten-thousandth at r = a/20."""
    a = capillary_length_m(*WATER)
    radius = a / 20
    found = meniscus(radius, 0.0, *WATER)
    assert found.rise_m + radius / 3 == pytest.approx(2 * a * a / radius, rel=1e-4)
    assert found.height_m == pytest.approx(radius, rel=2e-3)


@pytest.mark.parametrize("angle_deg", [0.0, 60.0, 90.0, 137.0])
def test_very_wide_tubes_are_flat_in_the_middle(angle_deg):
    """At a wall by itself the surface stands 2 a sin(slope / 2) high (Laplace)."""
    a = capillary_length_m(*MERCURY)
    found = meniscus(1.01 * WIDEST * a, math.radians(angle_deg), *MERCURY)
    assert found.rise_m == 0.0
    assert found.height_m == pytest.approx(2 * a * math.sin(math.radians(90 - angle_deg) / 2))


def test_nothing_jumps_at_the_widest():
    a = capillary_length_m(*WATER)
    last = meniscus(0.999 * WIDEST * a, 0.0, *WATER)
    assert 0.0 < last.rise_m < 3e-8 * a
    assert abs(last.rise_by_radius) < 3e-8
    assert last.height_m == pytest.approx(math.sqrt(2) * a, rel=0.03)


def test_neither_rising_nor_falling():
    found = meniscus(2e-3, math.pi / 2, *WATER)
    assert (found.rise_m, found.height_m) == (0.0, 0.0)


@pytest.mark.parametrize("angle", [math.pi / 2 - 1e-5, math.pi / 2 + 1e-5])
def test_close_to_that_it_is_linear(angle):
    """z'' + z'/r = z about a flat surface: apex slope / I1(R), height of the wall I0(R) times
    that (modified Bessel functions), lengths in capillary lengths."""
    a = capillary_length_m(*WATER)
    found = meniscus(2e-3, angle, *WATER)
    slope, x = math.pi / 2 - angle, 2e-3 / a
    assert found.rise_m == pytest.approx(a * slope / i1(x), rel=1e-4)
    assert found.rise_m + found.height_m == pytest.approx(a * slope * i0(x) / i1(x), rel=1e-4)
    assert found.rise_by_angle == pytest.approx(-a / i1(x), rel=1e-4)


@settings(max_examples=8, deadline=None)
@given(st.floats(0.01, 5.0), st.floats(0.1, math.pi / 2))
def test_the_surface_only_climbs(z0, slope):
    (r1, z1), (r2, z2) = surface_at(z0, 0.7 * slope), surface_at(z0, slope)
    assert 0 < r1 < r2
    assert z0 < z1 < z2


@pytest.mark.parametrize("height_m", [4e-3, -4e-3])
def test_heights_that_no_angle_makes(height_m):
    with pytest.raises(
        ValueError, match=r"-?4 mm is not possible in a bore of 6 mm with 0.0727"
    ):
        contact_angle_from_height(3e-3, height_m, *WATER)


def test_all_figures_are_finite_where_the_bore_is_a_hair():
    found = meniscus(1e-5, 0.3, *WATER)
    assert all(math.isfinite(value) for value in astuple(found))
    assert found.rise_m == pytest.approx(
        2 * 0.0727 * math.cos(0.3) / (997 * 9.81 * 1e-5), rel=1e-4
    )


def test_at_a_right_angle_the_rise_still_depends_on_the_angle():
    """Nearly flat surfaces are I0 of the radius: steepness at the wall over I1 there."""
    radius, a = 3e-3, capillary_length_m(*WATER)
    flat, nearly = (meniscus(radius, math.pi / 2 - off, *WATER) for off in (0.0, 1e-4))
    assert flat.rise_m == 0.0
    assert flat.rise_by_angle == pytest.approx(-a / i1(radius / a))
    assert flat.rise_by_angle == pytest.approx(nearly.rise_by_angle, rel=1e-3)
