"""Heights as people give them."""

from __future__ import annotations

import pytest

from limbsight.calib.instrument_file import load_instrument
from limbsight.errors import InputError
from limbsight.pressure import reduce_heights
from tests.helpers.heights import FAN


@pytest.fixture
def fan():
    return load_instrument(FAN)


def test_text_numbers_and_units_agree(fan):
    a = reduce_heights(fan, left="-50.2 mm", right="5.1 cm")
    b = reduce_heights(fan, left=-50.2, right=51.0)
    assert a.value_pa == pytest.approx(b.value_pa, rel=1e-12)


@pytest.mark.parametrize(
    ("heights", "message"),
    [
        ({"left": 1}, "limb right is missing: a u-tube has left and right"),
        ({"left": 1, "right": 2, "tube": 3}, "limb tube does not exist"),
        ({"left": 1, "right": 400}, "off the scale of duct-static"),
        ({"left": "1 kg", "right": 2}, "is no length"),
        ({"left": (1, 2), "right": 2}, r"limb left: 2 level\(s\) given"),
        ({"limbs": [1, 2, 3]}, r"3 limb\(s\) given, a u-tube has 2"),
        ({"limbs": [1, 2], "left": 3}, "either by name or as one sequence"),
    ],
)
def test_wrong_heights(fan, heights, message):
    with pytest.raises(InputError, match=message):
        reduce_heights(fan, **heights)
