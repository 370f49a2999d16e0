"""Tubes and labels of an instrument file."""

from __future__ import annotations

import pytest

from limbsight.calib.instrument import LabelSpec
from limbsight.calib.instrument_file import parse_instrument
from limbsight.errors import InstrumentError
from tests.helpers.instrument_files import FULL, LEAST, labelled


def test_an_inclined_tube_needs_its_angle():
    text = LEAST.replace("single-limb", "inclined")
    with pytest.raises(InstrumentError, match=r"tube\.incline: is missing"):
        parse_instrument(text)


def test_a_label():
    found = parse_instrument(labelled("fan-inlet", 'number = 17\nsize = "30 mm"'))
    assert found.label == LabelSpec(number=17, size_m=0.03)
    assert parse_instrument(labelled("fan-inlet", "number = 0")).label == LabelSpec(number=0)
    assert parse_instrument(FULL).label is None


@pytest.mark.parametrize(
    ("label", "message"),
    [
        ("number = 587", "label.number: 587 is not in the family 36h11; write 0 to 586"),
        ("number = -1", "label.number: -1 is not a whole number from 0"),
        ('size = "30 mm"', "label.number: is missing"),
        ('number = 3\nsize = "0 mm"', "label.size"),
    ],
)
def test_a_wrong_label(label, message):
    with pytest.raises(InstrumentError, match=message):
        parse_instrument(labelled("fan-inlet", label))
