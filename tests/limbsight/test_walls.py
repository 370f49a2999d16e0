"""Walls by name: which of them water wets."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from limbsight.errors import InstrumentError
from limbsight.knowledge import knowledge_from_picture
from limbsight.walls import GLASS, PLASTIC, wetting_of
from tests.helpers.scales import millimetres

INSTRUMENT = knowledge_from_picture(millimetres(0.0, 100.0)).instrument


def of(material):
    tube = replace(INSTRUMENT.tube, material=material)
    return wetting_of(replace(INSTRUMENT, tube=tube, path="here.toml"))


@pytest.mark.parametrize("name", [None, GLASS, "Borosilicate Glass", "soda-lime glass"])
def test_glass_is_as_the_liquid_says_and_so_is_what_nobody_names(name):
    assert of(name) is None


@pytest.mark.parametrize("name", [PLASTIC, "acrylic", "PMMA", "polycarbonate", "pvc"])
def test_plastics_are_met_steeply(name):
    found = of(name)
    assert found is not None
    assert 60.0 < math.degrees(found.contact_angle_rad) < 90.0
    assert found.u_limb_rad > math.radians(8.0)  # more than on glass


def test_any_plastic_may_be_one_of_those_named():
    some = of(PLASTIC)
    for name in ("acrylic", "polycarbonate", "polyvinyl chloride"):
        own = of(name)
        assert own.u_rad < some.u_rad
        assert abs(own.contact_angle_rad - some.contact_angle_rad) < some.u_rad


def test_an_unknown_one_lists_those_that_are():
    with pytest.raises(InstrumentError, match=r"here\.toml: tube\.material: 'tin'.*acrylic"):
        of("tin")
