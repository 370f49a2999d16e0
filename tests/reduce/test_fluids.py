"""Fluids by name and by their owner's figures."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from limbsight.errors import InputError
from limbsight.reduce.fluids import Liquid, fluid, known_fluids, liquid, own_liquid


@pytest.mark.parametrize("name", known_fluids())
def test_every_known_fluid_has_a_density_and_a_source(name):
    if name == "seawater":
        pytest.importorskip("gsw")
    found = fluid(name)
    assert found.density(293.15, 101325.0, 0.5) > 0
    assert found.source
    assert found.relative_standard_uncertainty > 0


def test_names_do_not_depend_on_case_or_alias():
    assert fluid("Hg") == fluid("  mercury ") == fluid("MERCURY")
    assert fluid("glycerine") == fluid("glycerol")


def test_an_unknown_name_says_what_to_do():
    with pytest.raises(InputError, match=r"'quicksilver'.*give its density"):
        fluid("quicksilver")


def test_outside_the_range():
    with pytest.raises(
        InputError, match=r"water: density is known from 0 to 40 degC, not at 60"
    ):
        liquid("water").check_temperature(333.15)
    liquid("water").check_temperature(293.15)


def test_specific_gravity_is_relative_to_water_at_4_degc():
    oil = own_liquid("oil", specific_gravity=0.827)
    assert oil.density(293.15) == pytest.approx(0.827 * 999.974950)
    assert "default" in oil.source


def test_a_stated_uncertainty_is_used():
    oil = own_liquid("oil", density_kg_m3=826.0, standard_uncertainty_kg_m3=1.0)
    assert oil.relative_standard_uncertainty == pytest.approx(1 / 826)


def test_an_own_expansion_has_no_uncertainty_of_its_own():
    stated = own_liquid("oil", density_kg_m3=826.0, expansion_per_k=8e-4)
    assert stated.expansion_standard_uncertainty_per_k == 0
    assert own_liquid("oil", density_kg_m3=826.0).expansion_standard_uncertainty_per_k > 0


@pytest.mark.parametrize("kwargs", [{}, {"density_kg_m3": 800.0, "specific_gravity": 0.8}])
def test_one_figure_is_needed(kwargs):
    with pytest.raises(InputError, match="either density or specific_gravity"):
        own_liquid("oil", **kwargs)


@given(
    st.sampled_from(["mercury", "ethanol", "kerosene"]), st.floats(5, 35), st.floats(0.1, 5)
)
def test_warm_liquids_are_lighter(name, t_c, step):
    found = fluid(name)
    assert isinstance(found, Liquid)
    assert found.density(273.15 + t_c + step) < found.density(273.15 + t_c)
