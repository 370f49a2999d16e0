"""What surrounds a level, and which of its physics bends light."""

from __future__ import annotations

import math
from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from limbsight.calib.meniscus_surroundings import Physics, is_gas, same_rays
from tests.helpers.menisci import AIR, CASES, MERCURY, OIL, WATER
from tests.helpers.menisci import physics_supposed as supposed
from tests.helpers.menisci import surroundings as around

LIQUIDS = (*CASES["water"][:1], WATER, OIL, CASES["water"][3])
BLUE, CLEAR = (0.05, 0.15, 0.5), (0.7, 0.72, 0.74)


@given(st.floats(-0.99, 0.99))
def test_a_section_beside_the_axis_is_a_chord(aside):
    """Pythagoras in a circle of radius one."""
    found = around(CASES["water"], aside=aside).section
    assert found == pytest.approx(math.sin(math.acos(aside)))


@pytest.mark.parametrize("field", [field.name for field in fields(Physics)])
def test_only_light_and_stains_leave_the_rays_where_they_are(field):
    base = supposed(CASES["water"])
    moved = replace(base, **{field: getattr(base, field) * 1.01})
    assert same_rays(base, base)
    assert same_rays(base, moved) is (field in ("lit_through", "skin_below", "skin_above"))


def test_gases_and_liquids():
    assert is_gas(AIR)
    assert not is_gas(WATER)
    assert not is_gas(OIL)


@pytest.mark.parametrize(
    ("below", "above", "between"),
    [(WATER, AIR, False), (WATER, OIL, True), (MERCURY, AIR, False), (MERCURY, WATER, False)],
)
def test_between_liquids_is_where_both_are_seen_through(below, above, between):
    found = around(CASES["water"], below=below, above=above)
    assert found.is_between_liquids is between


class TestWhite:
    def test_through_a_gas_the_board_is_seen_as_it_is(self):
        assert tuple(around(CASES["water"]).white) == CLEAR

    def test_between_liquids_it_is_as_bright_as_the_brightest_seen(self):
        """A coloured liquid lets one colour through hardly weakened."""
        case = (*LIQUIDS, (np.array(BLUE), np.array([0.2, 0.3, 0.1])))
        assert list(around(case, above=OIL).white) == [0.5] * 3

    def test_over_mercury_only_the_liquid_above_shows_it(self):
        case = (*LIQUIDS, (np.array(CLEAR), np.array(BLUE)))
        assert list(around(case, below=MERCURY, above=WATER).white) == [0.5] * 3

    @pytest.mark.parametrize("above", [AIR, OIL])
    def test_in_the_dark_it_is_no_zero_to_divide_by(self, above):
        case = (*LIQUIDS, (np.zeros(3), np.zeros(3)))
        assert (around(case, above=above).white > 0.0).all()
