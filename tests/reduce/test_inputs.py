"""What is given, given without an uncertainty, and left out: three prices for each thing."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from limbsight.reduce.air import standard_atmosphere_pa
from limbsight.reduce.fluids import liquid
from limbsight.reduce.gravity import normal_gravity
from limbsight.reduce.inputs import Inputs, scale, surroundings
from limbsight.reduce.manometer import Manometer, Scale
from limbsight.units import Given


def of(**changes) -> Inputs:
    """Inputs of an open U-tube of which nothing else is known."""
    m = Manometer(
        arrangement="u-tube", tapped_limb="left", manometric=liquid("water"), **changes
    )
    q = Inputs()
    surroundings(q, m)
    scale(q, m)
    return q


GIVEN = {
    "temperature": ("temperature_k", 295.0),
    "gravity": ("gravity_m_s2", 9.812),
    "barometer": ("barometer_pa", 98e3),
    "humidity": ("relative_humidity", 0.3),
    "plumb": ("plumb_rad", 0.01),
}


@pytest.mark.parametrize("key", GIVEN)
def test_more_knowledge_costs_less(key):
    name, value = GIVEN[key]
    nothing = of()[key]
    bare = of(**{name: Given(value=value)})[key]
    whole = of(**{name: Given(value=value, standard_uncertainty=1e-6)})[key]
    assert nothing.source.startswith("default")
    assert bare.source == "given, uncertainty by default"
    assert whole.source == "given"
    assert bare.value == whole.value == value
    assert whole.standard_uncertainty == 1e-6
    assert 1e-6 < bare.standard_uncertainty <= nothing.standard_uncertainty


@pytest.mark.parametrize("key", GIVEN)
def test_a_stated_certainty_is_believed(key):
    """Zero is a figure like any other, not a missing one."""
    name, value = GIVEN[key]
    found = of(**{name: Given(value=value, standard_uncertainty=0.0)})[key]
    assert (found.standard_uncertainty, found.source) == (0.0, "given")


def test_the_first_to_name_an_input_defines_it():
    q = Inputs()
    for value in (1.0, 2.0):
        assert q.define("k", "name", value, "m", 0.1, "source") == "k"
    assert q["k"].value == 1.0


def test_a_fallback_says_why():
    q = Inputs()
    q.given("k", "n", None, "m", fallback=(3.0, 0.4), typical_u=9.0, why=" (of old)")
    assert q["k"].source == "default (of old): not given"
    assert (q["k"].value, q["k"].standard_uncertainty) == (3.0, 0.4)


class TestGravity:
    @settings(max_examples=20, deadline=None)
    @given(st.floats(-90, 90), st.floats(0, 4000))
    def test_of_a_place(self, latitude, elevation):
        found = of(latitude_rad=math.radians(latitude), elevation_m=elevation)["gravity"]
        assert found.value == normal_gravity(math.radians(latitude), elevation)
        # measured less normal gravity: 53 ppm at most at three sites (tests/reference)
        assert found.standard_uncertainty / found.value == pytest.approx(5e-5, rel=1e-9)

    def test_of_a_latitude_without_elevation(self):
        """At sea level; 1000 m higher would be 0.31 per mille less, rectangular."""
        here = of(latitude_rad=math.radians(45))["gravity"]
        assert here.value == normal_gravity(math.radians(45))
        assert "elevation not given" in here.source
        height = 1000 / math.sqrt(3) * 3.086e-6 / 9.806
        assert here.standard_uncertainty / here.value == pytest.approx(
            math.hypot(5e-5, height), rel=0.01
        )

    def test_a_measured_one_counts_more_than_a_latitude(self):
        found = of(gravity_m_s2=Given(value=9.79), latitude_rad=1.0, elevation_m=0.0)
        assert found["gravity"].value == 9.79

    def test_sea_level_is_an_elevation(self):
        found = of(latitude_rad=math.radians(45), elevation_m=0.0)["gravity"]
        assert "not given" not in found.source


class TestBarometer:
    @pytest.mark.parametrize("elevation", [0.0, 800.0])
    def test_of_a_height_it_is_the_standard_atmosphere_and_weather(self, elevation):
        found = of(elevation_m=elevation)["barometer"]
        assert found.value == standard_atmosphere_pa(elevation)
        assert 1e3 < found.standard_uncertainty < 2e3

    def test_an_unknown_height_costs_more_than_weather(self):
        """Sites from 0 to 1000 m lie 11.5 kPa apart: 3.3 kPa, rectangular."""
        assert of()["barometer"].standard_uncertainty > 11.4e3 / math.sqrt(12)
        assert of()["barometer"].value == 101325.0


class TestTilt:
    def test_an_inclined_gauge_carries_its_own_level(self):
        inclined = of(incline_rad=Given(value=0.3))["plumb"]
        assert inclined.standard_uncertainty < of()["plumb"].standard_uncertainty
        assert inclined.value == of()["plumb"].value == 0.0

    def test_spacing_is_no_guess_where_it_is_given(self):
        assert of(limb_spacing_m=0.08)["spacing"].value == 0.08
        assert of(limb_spacing_m=0.08)["spacing"].source == "given"
        assert of()["spacing"].source == "default"


def test_limbs_have_temperatures_of_their_own_besides_the_common_one():
    limbs = {
        "left": Given(value=293.0, standard_uncertainty=0.5),
        "right": Given(value=297.0),
    }
    found = of(limb_temperatures_k=limbs)
    left, right = found["temperature left"], found["temperature right"]
    assert (left.value, left.standard_uncertainty) == (293.0, 0.5)
    assert (right.value, right.source) == (297.0, "given, uncertainty by default")
    assert right.standard_uncertainty > 0
    assert "temperature" in found


class TestScale:
    def test_a_stated_material(self):
        stated = Scale(expansion_per_k=Given(value=1.2e-5), true_at_k=289.82)
        found = of(scale=stated)
        assert found["expansion"].value == 1.2e-5
        assert 0 < found["expansion"].standard_uncertainty < 5e-6
        assert (found["true at"].value, found["true at"].source) == (289.82, "given")

    def test_an_unknown_one_is_anything_from_glass_to_acrylic(self):
        """Borosilicate 3.3e-6 and acrylic 7e-5 per kelvin lie within three uncertainties."""
        found = of()["expansion"]
        for expansion in (3.3e-6, 7e-5):
            assert abs(expansion - found.value) <= 3 * found.standard_uncertainty
        # ISO 1:2022: lengths are those at 20 degC
        assert of()["true at"].value == 293.15
