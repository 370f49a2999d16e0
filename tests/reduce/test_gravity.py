"""Gravity of the place: how it must run, and what is said where no place is known.

Values are compared in tests/reference; here is what holds at any latitude and height.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from limbsight.reduce.gravity import normal_gravity, unknown_gravity
from limbsight.reduce.uncertainty import Input, propagate

POLE = math.pi / 2
LATITUDE = st.floats(-POLE, POLE)
HEIGHT_M = st.floats(-400.0, 5000.0)


def test_ends_of_the_ellipsoid():
    """Equator and pole as printed, NIMA TR8350.2 (2000), table 3.4; the pole's is not a
    constant of the formula."""
    assert normal_gravity(0.0) == pytest.approx(9.7803253359, abs=1e-10)
    assert normal_gravity(POLE) == pytest.approx(9.8321849378, abs=2e-10)


@given(LATITUDE, HEIGHT_M)
def test_north_and_south_are_alike(latitude, height):
    assert normal_gravity(latitude, height) == normal_gravity(-latitude, height)


@given(st.floats(0.0, POLE - 0.01), HEIGHT_M)
def test_it_grows_toward_the_pole(latitude, height):
    assert normal_gravity(latitude + 0.01, height) > normal_gravity(latitude, height)


@given(LATITUDE, HEIGHT_M)
def test_it_falls_off_as_above_a_ball_of_that_gravity(latitude, height):
    """Newton: g falls by 2 g / R per metre; flattening and rotation change that by 0.8 %
    at most, 1 + f + m - 2 f sin^2."""
    step = 10.0
    fall = normal_gravity(latitude, height) - normal_gravity(latitude, height + step)
    radius = 6371e3 + height
    assert fall / step == pytest.approx(
        2 * normal_gravity(latitude, height) / radius, rel=8e-3
    )


def test_arrays_and_uncertain_places():
    latitudes = np.radians([0.0, 30.0, 52.3])
    found = normal_gravity(latitudes, 200.0)
    assert list(found) == [normal_gravity(one, 200.0) for one in latitudes]
    place = [
        Input(
            key="latitude", name="", value=math.radians(45), unit="", standard_uncertainty=0.01
        ),
        Input(key="height", name="", value=100.0, unit="m", standard_uncertainty=50.0),
    ]
    estimate = propagate(lambda q: normal_gravity(q["latitude"], q["height"]), place)
    # dg/dlat = 0.0053 g_e sin(2 lat) to 1 %; free air -3.086e-6 per s2 (both from memory)
    by_key = {c.input.key: c.sensitivity for c in estimate.contributions}
    assert by_key["latitude"] == pytest.approx(9.780325 * 0.0053, rel=0.01)
    assert by_key["height"] == pytest.approx(-3.086e-6, rel=1e-3)


@given(LATITUDE)
def test_an_unknown_place_covers_every_one_at_sea_level(latitude):
    g, u = unknown_gravity()
    assert g == 9.80665  # 3rd CGPM (1901)
    # JCGM 100:2008, 4.3.7: a rectangular distribution reaches to sqrt(3) u
    assert abs(normal_gravity(latitude) - g) <= math.sqrt(3) * u * (1 + 1e-9)


def test_an_unknown_place_costs_no_more_than_the_farthest_one():
    g, u = unknown_gravity()
    farthest = max(abs(normal_gravity(latitude) - g) for latitude in (0.0, POLE))
    assert math.sqrt(3) * u == pytest.approx(farthest, rel=1e-6)
